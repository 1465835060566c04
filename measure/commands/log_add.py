"""``apexline log add``: rooms, pairs, places, surveys and moves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from measure.commands.options import FILE
from measure.logbook.names import decode_name
from measure.terminal.number_type import Number
from measure.terminal.option_record import defaults_from, options_from

if TYPE_CHECKING:
    from analysis.comparison.move_promise import Promise
    from measure.logbook.entries.entries import Entry, MoveEntry, PlaceEntry


Triple = tuple[float, float, float]


class Metres(click.ParamType[Triple]):
    """Three lengths in metres with commas between them."""

    name = "X,Y,Z"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Triple:
        """Return the three numbers."""
        if isinstance(value, tuple):
            return value
        try:
            x_m, y_m, z_m = (float(part) for part in str(value).split(","))
        except ValueError:
            self.fail(f"{value!r} must be three lengths in metres, as 0.95,0.92,1.0", param, ctx)
        return (x_m, y_m, z_m)


METRES = Metres()


@dataclass(frozen=True, kw_only=True, slots=True)
class _Common:
    """What is said of every entry, and in which logbook it is kept."""

    folder: Path = Path()
    name: str
    notes: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class LogAddRoomOptions(_Common):
    """A room."""

    room_file: Path | None = None
    photographs: tuple[Path, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class LogAddPairOptions(_Common):
    """A pair of loudspeakers."""

    cabinet_m: Triple | None = None
    woofer_height_m: float | None = None
    tweeter_height_m: float | None = None
    weight_kg: float | None = None
    on_loan_until: datetime | None = None
    photographs: tuple[Path, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class LogAddPlaceOptions(_Common):
    """Where a pair stands."""

    room_name: str | None = None
    pair_name: str | None = None
    left_m: Triple | None = None
    right_m: Triple | None = None
    seat_m: Triple | None = None
    std_m: float | None = None
    left_toe_in_deg: float | None = None
    right_toe_in_deg: float | None = None
    survey: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class LogAddSurveyOptions(_Common):
    """A survey, and of what it is."""

    survey: Path
    room: str | None = None
    pair: str | None = None
    place: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class LogAddMoveOptions(_Common):
    """A move, and between which takes it lies."""

    before: str
    after: str | None = None
    left_mm: float = 0.0
    right_mm: float = 0.0


LogAddOptions = (
    LogAddRoomOptions
    | LogAddPairOptions
    | LogAddPlaceOptions
    | LogAddSurveyOptions
    | LogAddMoveOptions
)


def run(options: LogAddOptions) -> None:
    """Add what the record describes, and say where it is kept."""
    match options:
        case LogAddRoomOptions():
            _add_room(options)
        case LogAddPairOptions():
            _add_pair(options)
        case LogAddPlaceOptions():
            _add_place(options)
        case LogAddSurveyOptions():
            _add_survey(options)
        case LogAddMoveOptions():
            _add_move(options)


@click.group("add", short_help="Add a room, pair, place, survey or move.")
def command() -> None:
    """Add a room, pair, place, survey or move to the logbook."""


@defaults_from(LogAddRoomOptions)
@command.command("room")
@click.argument("name")
@click.option("--room-file", type=FILE, help="Its room file, kept with it.")
@click.option("--notes", help="In your words.")
@click.option("--photograph", "photographs", type=FILE, multiple=True, help="Keep a photograph.")
@click.pass_obj
def room(folder: Path, /, **given: object) -> None:
    """Add a room."""
    run(options_from(LogAddRoomOptions, given | {"folder": folder}))


def _add_room(options: LogAddRoomOptions) -> None:
    """Add a room with its file and photographs."""
    from measure.files.room_file import read_room
    from measure.logbook.entries.entries import RoomEntry

    files = _photographs(options.photographs)
    if options.room_file is not None:
        read_room(options.room_file)
        files["room.toml"] = options.room_file
    made = RoomEntry(
        name=decode_name(options.name),
        notes=_notes(options),
        written=_now(),
        files=tuple(files),
        room_file="room.toml" if options.room_file else None,
    )
    _add(options.folder, made, files)


@defaults_from(LogAddPairOptions)
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
def pair(folder: Path, /, **given: object) -> None:
    """Add a pair of loudspeakers."""
    run(options_from(LogAddPairOptions, given | {"folder": folder}))


def _add_pair(options: LogAddPairOptions) -> None:
    """Add a pair with its photographs."""
    from measure.logbook.entries.entries import PairEntry

    files = _photographs(options.photographs)
    until = options.on_loan_until
    made = PairEntry(
        name=decode_name(options.name),
        notes=_notes(options),
        written=_now(),
        files=tuple(files),
        cabinet_m=options.cabinet_m,
        woofer_height_m=options.woofer_height_m,
        tweeter_height_m=options.tweeter_height_m,
        weight_kg=options.weight_kg,
        on_loan_until=None if until is None else until.date(),
    )
    _add(options.folder, made, files)


@defaults_from(LogAddPlaceOptions)
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
def place(folder: Path, /, **given: object) -> None:
    """Add a place: where the pair stands, to be found again."""
    run(options_from(LogAddPlaceOptions, given | {"folder": folder}))


def _add_place(options: LogAddPlaceOptions) -> None:
    """Add a place, filled in by its survey where it has one."""
    from measure.logbook.entries.entries import PlaceEntry

    made = PlaceEntry(
        name=decode_name(options.name),
        notes=_notes(options),
        written=_now(),
        files=(),
        room=options.room_name,
        pair=options.pair_name,
        left_m=options.left_m,
        right_m=options.right_m,
        seat_m=options.seat_m,
        std_m=options.std_m,
        left_toe_in_deg=options.left_toe_in_deg,
        right_toe_in_deg=options.right_toe_in_deg,
        survey=options.survey,
    )
    reason = None
    if made.survey is not None:
        made, reason = _fill_from_survey(options.folder, made, made.survey)
    _add(options.folder, made, {})
    if reason is not None:
        click.echo(reason)


def _fill_from_survey(folder: Path, made: PlaceEntry, survey: str) -> tuple[PlaceEntry, str | None]:
    """Return a place with what its survey says."""
    from measure.logbook.entries.pair_place import survey_path
    from measure.logbook.entries.surveys import filled_place
    from measure.logbook.folder import open_logbook
    from measure.survey.evaluation import evaluate_file
    from measure.survey.file import read_survey

    path = survey_path(open_logbook(folder), survey)
    return filled_place(made, survey, evaluate_file(read_survey(path)))


@defaults_from(LogAddSurveyOptions)
@command.command("survey")
@click.argument("name")
@click.argument("survey", type=FILE, metavar="SURVEY.toml")
@click.option("--room", help="In which room.")
@click.option("--pair", help="Which pair.")
@click.option("--place", help="The place that it describes.")
@click.option("--notes", help="In your words.")
@click.pass_obj
def survey(folder: Path, /, **given: object) -> None:
    """Keep a survey, so that its placement can be found again."""
    run(options_from(LogAddSurveyOptions, given | {"folder": folder}))


def _add_survey(options: LogAddSurveyOptions) -> None:
    """Keep a survey that can be read."""
    from measure.logbook.entries.entries import SurveyEntry
    from measure.survey.file import read_survey

    read_survey(options.survey)
    made = SurveyEntry(
        name=decode_name(options.name),
        notes=_notes(options),
        written=_now(),
        files=("survey.toml",),
        survey_file="survey.toml",
        room=options.room,
        pair=options.pair,
        place=options.place,
    )
    _add(options.folder, made, {"survey.toml": options.survey})


@defaults_from(LogAddMoveOptions)
@command.command("move")
@click.argument("name")
@click.option("--before", required=True, help="The take before it.")
@click.option("--after", help="The take after it.")
@click.option("--left-away", "left_mm", type=Number(), help="Left, from the seat, mm.")
@click.option("--right-away", "right_mm", type=Number(), help="Right, from the seat, mm.")
@click.option("--notes", help="In your words.")
@click.pass_obj
def move(folder: Path, /, **given: object) -> None:
    """Keep a move with what it promises; with --after, hold the result against it."""
    run(options_from(LogAddMoveOptions, given | {"folder": folder}))


def _add_move(options: LogAddMoveOptions) -> None:
    """Keep a move, and say its promise and its result."""
    from analysis.comparison.move_promise import judge_promise, promise
    from analysis.report.comparison.move_promise import judgement_text, promise_text
    from measure.logbook.folder import open_logbook
    from measure.logbook.remarks import take_path
    from measure.logbook.take_index import read_line

    logbook = open_logbook(options.folder)
    first = read_line(take_path(logbook, options.before))
    expected = promise(
        _metres(first.arrival_mm),
        _metres(first.arrival_std_mm),
        left_away_m=options.left_mm * 1e-3,
        right_away_m=options.right_mm * 1e-3,
    )
    second = None if options.after is None else read_line(take_path(logbook, options.after))
    _add(options.folder, _move_entry(options, first.pair, expected), {})
    click.echo(promise_text(expected))
    if second is not None and expected is not None:
        arrival = _metres(second.arrival_mm), _metres(second.arrival_std_mm)
        click.echo(judgement_text(judge_promise(expected, *arrival)))


def _move_entry(
    options: LogAddMoveOptions, pair: str | None, expected: Promise | None
) -> MoveEntry:
    """Return a move of a pair with its promise."""
    from measure.logbook.entries.entries import MoveEntry

    return MoveEntry(
        name=decode_name(options.name),
        notes=_notes(options),
        written=_now(),
        files=(),
        before=options.before,
        after=options.after,
        pair=pair,
        left_away_m=options.left_mm * 1e-3,
        right_away_m=options.right_mm * 1e-3,
        expected_m=None if expected is None else expected.difference_m,
        expected_std_m=None if expected is None else expected.std_m,
    )


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


def _notes(options: _Common) -> str | None:
    """Return the notes as they are kept."""
    return None if options.notes is None else decode_name(options.notes)


def _now() -> datetime:
    """Return the moment, to a second."""
    return datetime.now().astimezone().replace(microsecond=0)


def _add(folder: Path, entry: Entry, files: dict[str, Path]) -> None:
    """Write the entry, and say where."""
    from measure.logbook.entries.store import add_entry
    from measure.logbook.folder import open_logbook

    click.echo(f"Kept in {add_entry(open_logbook(folder), entry, files=files)}")
