"""``apexline log add``: rooms, pairs, places, surveys and moves."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from measure.terminal.number_type import Number

if TYPE_CHECKING:
    from measure.logbook.entries.entries import Entry, PlaceEntry

FILE = click.Path(path_type=Path)


class Metres(click.ParamType[tuple[float, float, float]]):
    """Three lengths in metres with commas between them."""

    name = "X,Y,Z"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float, float]:
        """Return the three numbers."""
        if isinstance(value, tuple):
            return value
        try:
            x_m, y_m, z_m = (float(part) for part in str(value).split(","))
        except ValueError:
            self.fail(f"{value!r} must be three lengths in metres, as 0.95,0.92,1.0", param, ctx)
        return (x_m, y_m, z_m)


METRES = Metres()


@click.group("add", short_help="Add a room, pair, place, survey or move.")
def command() -> None:
    """Add a room, pair, place, survey or move to the logbook."""


@command.command("room")
@click.argument("name")
@click.option("--room-file", type=FILE, help="Its room file, kept with it.")
@click.option("--notes", help="In your words.")
@click.option("--photograph", "photographs", type=FILE, multiple=True, help="Keep a photograph.")
@click.pass_obj
def room(
    folder: Path,
    name: str,
    room_file: Path | None,
    notes: str | None,
    photographs: tuple[Path, ...],
) -> None:
    """Add a room."""
    from measure.files.room_file import read_room
    from measure.logbook.entries.entries import RoomEntry

    files = _photographs(photographs)
    if room_file is not None:
        read_room(room_file)
        files["room.toml"] = room_file
    made = _common(name, notes, files)
    _add(folder, RoomEntry(room_file="room.toml" if room_file else None, **made), files)


@command.command("pair")
@click.argument("name")
@click.option("--cabinet", "cabinet_m", type=METRES, help="Width, depth, height, m.")
@click.option("--woofer-height", "woofer_height_m", type=Number(), help="Above the floor, m.")
@click.option("--tweeter-height", "tweeter_height_m", type=Number(), help="Above the floor, m.")
@click.option("--weight", "weight_kg", type=Number(), help="Of one cabinet, kg.")
@click.option("--on-loan-until", type=click.DateTime(["%Y-%m-%d"]), help="As 2026-03-01.")
@click.option("--notes", help="In your words.")
@click.option("--photograph", "photographs", type=FILE, multiple=True, help="Keep a photograph.")
@click.pass_obj
def pair(
    folder: Path,
    /,
    name: str,
    on_loan_until: datetime | None,
    notes: str | None,
    photographs: tuple[Path, ...],
    **facts: Any,
) -> None:
    """Add a pair of loudspeakers."""
    from measure.logbook.entries.entries import PairEntry

    files = _photographs(photographs)
    day = None if on_loan_until is None else on_loan_until.date()
    _add(folder, PairEntry(on_loan_until=day, **facts, **_common(name, notes, files)), files)


@command.command("place")
@click.argument("name")
@click.option("--room", "room_name", help="In which room.")
@click.option("--pair", "pair_name", help="Which pair.")
@click.option("--left", "left_m", type=METRES, help="Left tweeter: x, y, z, m.")
@click.option("--right", "right_m", type=METRES, help="Right tweeter: x, y, z, m.")
@click.option("--seat", "seat_m", type=METRES, help="Head or microphone: x, y, z, m.")
@click.option("--std", "std_m", type=Number(), help="One standard deviation of them, m.")
@click.option("--left-toe-in", "left_toe_in_deg", type=Number(), help="Inward, degrees.")
@click.option("--right-toe-in", "right_toe_in_deg", type=Number(), help="Inward, degrees.")
@click.option("--survey", help="The survey in the logbook that describes it, and fills it in.")
@click.option("--notes", help="In your words.")
@click.pass_obj
def place(
    folder: Path,
    /,
    name: str,
    room_name: str | None,
    pair_name: str | None,
    notes: str | None,
    **facts: Any,
) -> None:
    """Add a place: where the pair stands, to be found again."""
    from measure.logbook.entries.entries import PlaceEntry

    made = PlaceEntry(room=room_name, pair=pair_name, **facts, **_common(name, notes, {}))
    reason = None
    if made.survey is not None:
        made, reason = _filled(folder, made, made.survey)
    _add(folder, made, {})
    if reason is not None:
        click.echo(reason)


def _filled(folder: Path, made: PlaceEntry, survey: str) -> tuple[PlaceEntry, str | None]:
    """Return a place with what its survey says."""
    from measure.logbook.entries.pair_place import survey_path
    from measure.logbook.entries.surveys import filled_place
    from measure.logbook.folder import open_logbook
    from measure.survey.evaluation import evaluate_file
    from measure.survey.file import read_survey

    path = survey_path(open_logbook(folder), survey)
    return filled_place(made, survey, evaluate_file(read_survey(path)))


@command.command("survey")
@click.argument("name")
@click.argument("survey", type=FILE, metavar="SURVEY.toml")
@click.option("--room", help="In which room.")
@click.option("--pair", help="Which pair.")
@click.option("--place", help="The place that it describes.")
@click.option("--notes", help="In your words.")
@click.pass_obj
def survey_(folder: Path, /, name: str, survey: Path, notes: str | None, **facts: Any) -> None:
    """Keep a survey, so that its placement can be found again."""
    from measure.logbook.entries.entries import SurveyEntry
    from measure.survey.file import read_survey

    read_survey(survey)
    files = {"survey.toml": survey}
    made = SurveyEntry(survey_file="survey.toml", **facts, **_common(name, notes, files))
    _add(folder, made, files)


@command.command("move")
@click.argument("name")
@click.option("--before", required=True, help="The take before it.")
@click.option("--after", help="The take after it.")
@click.option("--left-away", "left_mm", type=Number(), default=0.0, help="Left, from the seat, mm.")
@click.option(
    "--right-away", "right_mm", type=Number(), default=0.0, help="Right, from the seat, mm."
)
@click.option("--notes", help="In your words.")
@click.pass_obj
def move(
    folder: Path,
    name: str,
    before: str,
    after: str | None,
    left_mm: float,
    right_mm: float,
    notes: str | None,
) -> None:
    """Keep a move with what it promises; with --after, hold the result against it."""
    from analysis.comparison.move_promise import judge_promise, promise
    from analysis.report.comparison.move_promise import judgement_text, promise_text
    from measure.logbook.entries.entries import MoveEntry
    from measure.logbook.folder import open_logbook
    from measure.logbook.remarks import take_path
    from measure.logbook.take_index import read_line

    logbook = open_logbook(folder)
    first = read_line(take_path(logbook, before))
    expected = promise(
        _metres(first.arrival_mm),
        _metres(first.arrival_std_mm),
        left_away_m=left_mm * 1e-3,
        right_away_m=right_mm * 1e-3,
    )
    second = None if after is None else read_line(take_path(logbook, after))
    made = MoveEntry(
        before=before,
        after=after,
        pair=first.pair,
        left_away_m=left_mm * 1e-3,
        right_away_m=right_mm * 1e-3,
        expected_m=None if expected is None else expected.difference_m,
        expected_std_m=None if expected is None else expected.std_m,
        **_common(name, notes, {}),
    )
    _add(folder, made, {})
    click.echo(promise_text(expected))
    if second is not None and expected is not None:
        arrival = _metres(second.arrival_mm), _metres(second.arrival_std_mm)
        click.echo(judgement_text(judge_promise(expected, *arrival)))


def _metres(value_mm: float | None) -> float | None:
    """Return metres."""
    return None if value_mm is None else value_mm * 1e-3


def _photographs(photographs: tuple[Path, ...]) -> dict[str, Path]:
    """Return the names under which photographs are kept."""
    from measure.takes.names import folder_name

    return {
        f"photograph-{number}-{folder_name(path.name)}": path
        for number, path in enumerate(photographs, start=1)
    }


def _common(name: str, notes: str | None, files: dict[str, Path]) -> dict[str, Any]:
    """Return what every entry has."""
    from measure.logbook.names import as_text

    return {
        "name": as_text(name),
        "notes": None if notes is None else as_text(notes),
        "written": datetime.now().astimezone().replace(microsecond=0),
        "files": tuple(files),
    }


def _add(folder: Path, entry: Entry, files: dict[str, Path]) -> None:
    """Write the entry, and say where."""
    from measure.logbook.entries.store import add_entry
    from measure.logbook.folder import open_logbook

    click.echo(f"Kept in {add_entry(open_logbook(folder), entry, files=files)}")
