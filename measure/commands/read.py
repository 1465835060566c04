"""``apexline read``: what a recording of the sweep says."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.commands.options import FILE
from measure.commands.options.conditions import (
    ConditionOptions,
    condition_options,
    read_conditions,
    take_conditions,
)
from measure.terminal.number_type import NumberRange
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import list_written, print_lines

if TYPE_CHECKING:
    from analysis.signals.programme import Programme
    from measure.files.readings.recording_reader import FileReading
    from measure.takes.conditions import Conditions

WIDTH = 78

SPOTS = ("left", "right", "front", "back")


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadOptions:
    """What is read, what is known around it, and what is said and written."""

    recording: Path
    sweep: Path | None = None
    room_path: Path | None = None
    survey_path: Path | None = None
    channel: int | None = None
    conditions: ConditionOptions = field(default_factory=ConditionOptions)
    spots: tuple[tuple[str, Path], ...] = ()
    tolerance_mm: float = 2.0
    half_angle_deg: float | None = None
    scores: bool = False
    brief: bool = False
    json_target: str | None = None
    figures: Path | None = None


@defaults_from(ReadOptions)
@click.command("read", short_help="Read a recording of a sweep.")
@click.argument("recording", type=FILE)
@click.option(
    "--sweep",
    "sweep",
    type=FILE,
    help="The sweep that was played, or its sheet; a take's folder holds its own.",
)
@click.option(
    "--room", "room_path", type=FILE, help="Room file: sizes, air, places (`apexline starter`)."
)
@click.option(
    "--survey",
    "survey_path",
    type=FILE,
    help="Take the places of pair and seat from this survey, the rest from --room.",
)
@click.option(
    "--channel",
    type=click.IntRange(min=1),
    help="The microphone's channel, from 1.  [default: found]",
)
@condition_options
@click.option(
    "--spot",
    "spots",
    type=(click.Choice(SPOTS), FILE),
    multiple=True,
    help="Another recording, a hand's breadth left, right, front or back; for the bass.",
)
@click.option(
    "--tolerance",
    "tolerance_mm",
    type=NumberRange(min=0.1),
    show_default=True,
    help="Difference that counts as equal, mm.",
)
@click.option(
    "--half-angle",
    "half_angle_deg",
    type=NumberRange(5, 60),
    help="Half the angle between the loudspeakers at the seat, degrees, without a room file.",
)
@click.option("--scores", is_flag=True, help="Show what each cause's score is made of.")
@click.option("--brief", is_flag=True, help="The verdict alone, no details.")
@click.option(
    "--json",
    "json_target",
    metavar="FILE",
    help="Save the reading; its impulse responses go beside it. - prints it.",
)
@click.option(
    "--figures", "figures", type=FILE, help="Draw the figures into this folder, PNG and SVG."
)
def command(**given: object) -> None:
    """Read RECORDING, made at the seat while a sweep programme played.

    RECORDING is a sound file, or the folder of a take, complete or interrupted.

    The verdict comes first: which loudspeaker to move, which way and how far; then
    level, wiring and bass; then what each rests on.
    """
    run(options_from(ReadOptions, given))


def run(options: ReadOptions) -> None:
    """Read a recording, say what it says, and write what was asked for."""
    from analysis.report.reading.lines import reading_lines
    from measure.files.microphone import correction_lines
    from measure.files.output import check_json_target
    from measure.terminal.progress_line import show_progress

    check_json_target(options.json_target)
    if options.recording.is_dir():
        options, programme, around, interrupted = _from_take(options)
    else:
        programme, around, interrupted = *_from_sheet(options), ""
    with show_progress("Reading the recording") as step:
        file = _read(options, programme, around, interrupted)
        if options.figures is not None:
            step("Drawing the figures")
            from measure.files.figures import write_reading_figures

            written = write_reading_figures(file.reading, options.figures)
        else:
            written = []
        if options.json_target is not None:
            written += _save(file, options, around, options.json_target)
    lines = reading_lines(
        file.reading,
        source=file.source_lines,
        microphone=correction_lines(around.microphone),
        half_angle_deg=options.half_angle_deg,
        tolerance_m=options.tolerance_mm * 1e-3,
        scores=options.scores,
        brief=options.brief,
    )
    # First, since it explains what the checks then find missing.
    lines = [*_interruption_lines(interrupted), *lines, *list_written(written)]
    print_lines(lines, to_error=options.json_target == "-")


def _interruption_lines(interrupted: str) -> list[str]:
    """Return why a take was interrupted, and what that means for what is said of it."""
    if not interrupted:
        return []
    said = (
        f"The take was interrupted: {interrupted}. What was still to be played is missing for "
        "that reason, and not for a cable or a setting."
    )
    return textwrap.wrap(said, WIDTH, subsequent_indent="  ")


def _from_sheet(options: ReadOptions) -> tuple[Programme, Conditions]:
    """Return the programme that the options name, and what they say around the recording."""
    from measure.takes.sheet import check_sound, read_sheet

    if options.sweep is None:
        raise click.UsageError(_missing_sweep(options.recording))
    programme, sha256 = read_sheet(options.sweep)
    check_sound(options.sweep, sha256)
    return programme, read_conditions(
        options.room_path, options.conditions, survey_path=options.survey_path
    )


def _missing_sweep(recording: Path) -> str:
    """Return what to give instead, where a take's folder holds the sweep already."""
    from measure.takes.names import PROGRAMME, UNFINISHED

    unfinished = recording.with_name(recording.name + UNFINISHED)
    if not recording.exists() and unfinished.is_dir():
        return f"{recording} isn't there, but {unfinished} is, an interrupted take: read that."
    if recording.parent.name and (recording.parent / PROGRAMME).exists():
        return f"{recording} is in a take's folder: read {recording.parent}, which holds its sweep."
    return "Missing option '--sweep': give the sweep that was played, or its sheet."


def _from_take(options: ReadOptions) -> tuple[ReadOptions, Programme, Conditions, str]:
    """Return the same of a take's folder, with its recording, and why it was interrupted."""
    from measure.takes.interrupted import read_any_take
    from measure.takes.names import PROGRAMME

    if options.sweep is not None:
        msg = (
            f"{options.recording} is a folder, and a take's folder holds the sweep that was "
            "played: leave --sweep out, or give a recording in it"
        )
        raise click.UsageError(msg)
    take = read_any_take(options.recording)
    around = take_conditions(
        take, options.conditions, options.room_path, survey_path=options.survey_path
    )
    options = replace(
        options,
        recording=take.recording,
        sweep=Path(PROGRAMME),
        channel=options.channel or 1,
    )
    return options, take.programme, around, take.interrupted


def _read(
    options: ReadOptions, programme: Programme, around: Conditions, interrupted: str
) -> FileReading:
    """Read the recording, and those around it."""
    from measure.errors import AudioFileError, NotHeardError
    from measure.files.readings.recording_reader import read_file, with_spot_files

    def read(path: Path) -> FileReading:
        return read_file(
            path,
            programme,
            air=around.air,
            room=around.room,
            microphone=around.microphone,
            channel=options.channel,
        )

    others = {name: read(path) for name, path in dict(options.spots).items()}
    try:
        return with_spot_files(read(options.recording), others)
    except AudioFileError as problem:
        if not interrupted:
            raise
        msg = f"{problem}; the take was interrupted ({interrupted})"
        raise AudioFileError(msg) from problem
    except NotHeardError as problem:
        if not interrupted:
            raise
        msg = (
            f"no pass of the sweep is in what was recorded in {options.recording}: the take was "
            f"interrupted ({interrupted}); make it again"
        )
        raise NotHeardError(msg) from problem


def _save(file: FileReading, options: ReadOptions, around: Conditions, target: str) -> list[Path]:
    """Save the reading and its impulse responses, both or none."""
    from measure.files.audio_files import encode_wav
    from measure.files.output import STDOUT, json_text, text_writer, write_json, write_together
    from measure.files.readings.document import reading_document, responses_path, stereo_responses

    assert options.sweep is not None
    document = reading_document(
        file,
        sweep=options.sweep.name,
        microphone=around.microphone_document,
        spots={name: path.name for name, path in options.spots},
    )
    if target == STDOUT:
        write_json(document, target)
        return []
    path = Path(target)
    responses = stereo_responses(file.reading)
    rate_hz = file.reading.programme.sample_rate_hz

    def write_responses(temporary: Path) -> None:
        encode_wav(temporary, responses, rate_hz, encoding="FLOAT")

    files = {path: text_writer(json_text(document)), responses_path(path): write_responses}
    write_together(files)
    return list(files)
