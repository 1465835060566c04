"""A survey filed into the logbook: its file, the place it describes, the moves it asks for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from measure.logbook.entries.entries import MoveEntry, PlaceEntry, SurveyEntry
from measure.logbook.entries.moves import answer_by_survey
from measure.logbook.entries.store import add_entry, folder_of, read_entries
from measure.logbook.folder import Logbook, is_logbook, open_logbook
from measure.logbook.names import decode_name, entry_folder_name, same_folder

if TYPE_CHECKING:
    from analysis.survey.result import SurveyResult
    from measure.survey.file import SurveyFile

SURVEY = "survey.toml"


def surrounding_logbook(given: Path | None) -> Logbook | None:
    """Return the logbook that was named, or the one in which the program was started.

    Raises
    ------
    LogbookError
        If the one that was named is none.
    """
    if given is not None:
        return open_logbook(given)
    here = Path().absolute()
    around = any(is_logbook(place) for place in (here, *here.parents))
    return open_logbook(here) if around else None


@dataclass(frozen=True, kw_only=True, slots=True)
class Filed:
    """What became of a survey in the logbook.

    Attributes
    ----------
    kept : tuple of Path
        Folders of new entries; none where this very survey is kept already.
    said : tuple of str
        What there is to say of it.
    answered : MoveEntry or None
        The move that has its result now.
    """

    kept: tuple[Path, ...] = ()
    said: tuple[str, ...] = ()
    answered: MoveEntry | None = None


def file_survey(
    logbook: Logbook,
    file: SurveyFile,
    result: SurveyResult,
    *,
    steps: tuple[str, ...] = (),
    pair: str | None = None,
    room: str | None = None,
    place: str | None = None,
) -> Filed:
    """Keep a survey, fill its place, keep the moves that it asks for, answer the last ones.

    Parameters
    ----------
    logbook : Logbook
    file : SurveyFile
    result : SurveyResult
    steps : tuple of str
        The moves that it asks for, in words.
    pair, room, place : str or None
        What it is of. A place that isn't there yet is made.

    Returns
    -------
    Filed

    Raises
    ------
    LogbookError
        If nothing can be written.
    """
    known = _find_same_survey(logbook, file.path)
    if known is not None:
        return Filed(said=(f"This survey is kept already, as {known}.",))
    now = datetime.now().astimezone().replace(microsecond=0)
    entry = SurveyEntry(
        name=f"{decode_name(file.path.stem)} {now:%Y-%m-%d %H.%M.%S}",
        written=now,
        survey_file=SURVEY,
        pair=pair,
        room=room,
        place=place,
        files=(SURVEY,),
    )
    kept = [add_entry(logbook, entry, files={SURVEY: file.path})]
    said: tuple[str, ...] = ()
    if place is not None:
        made, said = _place(logbook, place, entry, result)
        kept += made
    answered = answer_by_survey(logbook, entry.name, pair)
    move = proposal(entry, result, steps=steps)
    if move is not None:
        kept.append(add_entry(logbook, move))
    return Filed(kept=tuple(kept), said=said, answered=answered)


def _place(
    logbook: Logbook, name: str, entry: SurveyEntry, result: SurveyResult
) -> tuple[list[Path], tuple[str, ...]]:
    """Make the place that a survey describes, unless it is there."""
    wanted = entry_folder_name(name, kind="place")
    if same_folder(folder_of(logbook, PlaceEntry), wanted) is not None:
        return [], (f"The place {name} is there already and stays as it is.",)
    place = PlaceEntry(
        name=decode_name(name), written=entry.written, room=entry.room, pair=entry.pair
    )
    place, reason = filled_place(place, entry.name, result)
    return [add_entry(logbook, place)], () if reason is None else (reason,)


def _find_same_survey(logbook: Logbook, path: Path) -> str | None:
    """Return the name of the newest survey, if it is the same to the letter."""
    entries = read_entries(logbook, SurveyEntry)[0]
    if not entries:
        return None
    newest = max(entries, key=lambda one: one.written)
    place = folder_of(logbook, SurveyEntry) / entry_folder_name(newest.name, kind="survey")
    kept = place / newest.survey_file
    if kept.is_file() and kept.read_bytes() == path.read_bytes():
        return newest.name
    return None


def filled_place(
    place: PlaceEntry, survey: str, result: SurveyResult
) -> tuple[PlaceEntry, str | None]:
    """Return a place with coordinates and toe-in from a survey.

    Parameters
    ----------
    place : PlaceEntry
        What it has already stays.
    survey : str
        The survey's name in the logbook.
    result : SurveyResult

    Returns
    -------
    place : PlaceEntry
    reason : str or None
        Why it has no coordinates.
    """
    from msgspec.structs import replace

    from analysis.survey.moves.coordinates import room_places

    place = replace(place, survey=survey)
    if result.doubts:
        return place, "The place has no coordinates: the survey's readings contradict each other."
    try:
        found = room_places(result)
    except ValueError as problem:
        return place, f"The place has no coordinates: {problem}."
    own = {
        f"{what}_m": tuple(round(value, 5) for value in at) for what, at in found.places_m.items()
    } | {f"{side}_toe_in_deg": round(value, 3) for side, value in found.toe_in_deg.items()}
    given = [getattr(place, name) for name in ("left_m", "right_m", "seat_m")]
    if not any(given):
        own["std_m"] = round(found.std_m, 5)
    missing = {name: value for name, value in own.items() if getattr(place, name) is None}
    return replace(place, **missing), None


def proposal(
    entry: SurveyEntry, result: SurveyResult, *, steps: tuple[str, ...] = ()
) -> MoveEntry | None:
    """Return the moves that a survey asks for, with what they promise.

    Parameters
    ----------
    entry : SurveyEntry
    result : SurveyResult
    steps : tuple of str
        The moves in words.

    Returns
    -------
    MoveEntry or None
        None where it asks for none.
    """
    from analysis.comparison.move_promise import SETTING_STD_M

    moves = result.plan.moves
    if not any(move.kind != "check" for move in moves):
        return None
    now = [result.triangle.distance_m.of(side).value_and_std[0] for side in ("left", "right")]
    then = moves[-1].distance_m
    n_set = len({move.what for move in moves if move.kind != "check"})
    std_m = result.triangle.distance_m.left_minus_right.value_and_std[1]
    return MoveEntry(
        name=f"asked by {entry.name}",
        written=entry.written,
        survey=entry.name,
        pair=entry.pair,
        steps=steps,
        left_away_m=round(then[0] - now[0], 5),
        right_away_m=round(then[1] - now[1], 5),
        expected_m=round(then[0] - then[1], 5),
        expected_std_m=round(math.hypot(std_m, SETTING_STD_M * math.sqrt(n_set)), 5),
    )
