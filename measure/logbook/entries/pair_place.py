"""Where a pair stands: a survey's file, a survey or a place of the logbook."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from measure.errors import LogbookError, MeasureError
from measure.logbook.entries.entries import Entry, PlaceEntry, SurveyEntry
from measure.logbook.entries.store import folder_of, read_entry
from measure.logbook.folder import Logbook
from measure.logbook.names import entry_folder_name, same_folder
from measure.logbook.remarks import take_path
from measure.logbook.take_index import read_line
from measure.survey.evaluation import evaluate_file

if TYPE_CHECKING:
    from analysis.survey.moves.coordinates import RoomPlaces
    from analysis.survey.result import SurveyResult
    from measure.survey.file import SurveyFile


@dataclass(frozen=True, kw_only=True, slots=True)
class PairPlace:
    """Where a pair stands or stood.

    Attributes
    ----------
    label : str
        What it is, in words.
    file : SurveyFile or None
    result : SurveyResult or None
        What the survey gives; None where only coordinates are kept.
    place : PlaceEntry or None
    """

    label: str
    file: SurveyFile | None = None
    result: SurveyResult | None = None
    place: PlaceEntry | None = None


def survey_path(logbook: Logbook, name: str) -> Path:
    """Return the file of a kept survey.

    Raises
    ------
    LogbookError
        If there is no survey of that name.
    """
    entry = read_entry(logbook, SurveyEntry, name)
    place = folder_of(logbook, SurveyEntry)
    found = same_folder(place, entry_folder_name(entry.name, kind="survey"))
    return (found or place) / entry.survey_file


def find_pair_place(logbook: Logbook, name: str) -> PairPlace:
    """Return where a pair stands by a survey's file, a place or a survey of the logbook.

    Parameters
    ----------
    logbook : Logbook
    name : str

    Returns
    -------
    PairPlace

    Raises
    ------
    LogbookError
        If nothing of that name is there, or it says nothing of where things stand.
    SurveyFileError
        If the survey can't be used.
    """
    from measure.survey.file import read_survey

    if Path(name).suffix.lower() == ".toml" and Path(name).is_file():
        file = read_survey(Path(name))
        return PairPlace(label=Path(name).name, file=file, result=evaluate_file(file))
    if _is_there(logbook, PlaceEntry, name):
        place = read_entry(logbook, PlaceEntry, name)
        if place.survey is None:
            return PairPlace(label=place.name, place=place)
        file = read_survey(survey_path(logbook, place.survey))
        label = f"{place.name} (survey {place.survey})"
        return PairPlace(label=label, file=file, result=evaluate_file(file), place=place)
    if _is_there(logbook, SurveyEntry, name):
        file = read_survey(survey_path(logbook, name))
        return PairPlace(label=f"survey {name}", file=file, result=evaluate_file(file))
    msg = f"there is no place, survey or survey file {name} in {logbook.path}: `apexline log add` "
    raise LogbookError(msg + "keeps one, or give a SURVEY.toml")


def _is_there(logbook: Logbook, table: type[Entry], name: str) -> bool:
    """Return whether an entry of that name is there."""
    wanted = entry_folder_name(name, kind="place")
    return same_folder(folder_of(logbook, table), wanted) is not None


def coordinates(one: PairPlace) -> RoomPlaces:
    """Return where a pair stands, in the room's coordinates.

    Raises
    ------
    LogbookError
        If that isn't known.
    """
    from analysis.survey.moves.coordinates import UNKNOWN_STD_M, RoomPlaces, room_places

    if one.result is not None:
        try:
            return room_places(one.result)
        except ValueError as problem:
            msg = f"{one.label} can't be given in the room's coordinates: {problem}"
            raise LogbookError(msg) from problem
    place = one.place
    if place is None or place.left_m is None or place.right_m is None or place.seat_m is None:
        msg = f"{one.label} says nothing of where left, right and seat stood: keep a survey with it"
        raise LogbookError(msg)
    toe_ins = {"left": place.left_toe_in_deg, "right": place.right_toe_in_deg}
    return RoomPlaces(
        places_m={"left": place.left_m, "right": place.right_m, "seat": place.seat_m},
        std_m=place.std_m or UNKNOWN_STD_M,
        toe_in_deg={side: value for side, value in toe_ins.items() if value is not None},
    )


def take_places(logbook: Logbook, take: str) -> RoomPlaces | None:
    """Return where the pair of a take stood, if its place is kept with coordinates."""
    line = read_line(take_path(logbook, take))
    if line.place is None:
        return None
    try:
        return coordinates(find_pair_place(logbook, line.place))
    except MeasureError:
        return None
