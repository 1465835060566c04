"""The options of air and microphone, and what is known around a recording by them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from measure.commands.options import FILE
from measure.terminal.number_type import CelsiusRange, NumberRange

if TYPE_CHECKING:
    from measure.files.room_file import RoomFile
    from measure.takes.conditions import Conditions, MicrophoneFile
    from measure.takes.interrupted import TakeRecording

Command = TypeVar("Command", bound=Callable[..., Any])

_OPTIONS: Final = (
    click.option(
        "--temperature",
        "temperature_c",
        type=CelsiusRange(),
        help="Of the air, °C, without a room file.  [default: 20 ± 3]",
    ),
    click.option(
        "--humidity",
        "humidity_percent",
        type=NumberRange(0, 100),
        help="Relative humidity, %, without a room file.",
    ),
    click.option(
        "--mic-correction",
        "microphone_path",
        type=FILE,
        help="The microphone's file: frequency in Hz, level in dB.",
    ),
    click.option(
        "--mic-file-is",
        "holds",
        type=click.Choice(("response", "correction")),
        show_default=True,
        help="What that file gives: the microphone's deviation, or what to add.",
    ),
    click.option(
        "--mic-angle",
        "incidence",
        type=click.Choice(("0", "90")),
        help="Angle for which it holds: 0 pointed at the loudspeakers, 90 at the ceiling.",
    ),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class ConditionOptions:
    """What the options said of air and microphone; None where nothing.

    Attributes
    ----------
    temperature_c, humidity_percent : float or None
        Without a room file only.
    microphone_path : Path or None
    holds : str
        ``response`` or ``correction``.
    incidence : str or None
        In degrees.
    """

    temperature_c: float | None = None
    humidity_percent: float | None = None
    microphone_path: Path | None = None
    holds: str = "response"
    incidence: str | None = None


def condition_options(command: Command) -> Command:
    """Add the options of air and microphone."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def read_conditions(
    room_path: Path | None, options: ConditionOptions, *, survey_path: Path | None = None
) -> Conditions:
    """Read what the options name, and say on standard error what a survey gave.

    Parameters
    ----------
    room_path : Path or None
    options : ConditionOptions
    survey_path : Path, optional
        Where pair and seat stand, in place of the room file's own; with a room file only.

    Returns
    -------
    Conditions

    Raises
    ------
    RoomFileError, SurveyFileError, MicrophoneFileError
        If a file can't be used.
    click.UsageError
        If the options contradict each other.
    """
    from measure.takes.conditions import known_conditions

    room = _read_room(room_path, survey_path, options)
    try:
        return known_conditions(
            room,
            temperature_c=options.temperature_c,
            humidity_percent=options.humidity_percent,
            microphone=_microphone_file(options),
        )
    except ValueError as problem:
        raise click.UsageError(str(problem)) from problem


def take_conditions(
    take: TakeRecording,
    options: ConditionOptions,
    room_path: Path | None,
    *,
    survey_path: Path | None = None,
) -> Conditions:
    """Read what the options name, and take from a take what they don't say.

    Parameters
    ----------
    take : TakeRecording
        With its air, where that was measured, and the correction that was used.
    options : ConditionOptions
    room_path, survey_path : Path or None
        As for `read_conditions`; a room file has the air too.

    Returns
    -------
    Conditions

    Raises
    ------
    RoomFileError, SurveyFileError, MicrophoneFileError
        If a file can't be used.
    click.UsageError
        If the options contradict each other.
    """
    air, known = take.facts.air, take.facts.microphone
    unsaid = options.temperature_c is None and options.humidity_percent is None
    if room_path is None and air is not None and air.measured and unsaid:
        options = replace(
            options,
            temperature_c=air.temperature_c,
            humidity_percent=air.relative_humidity_percent,
        )
    if options.microphone_path is not None or take.microphone is None or known is None:
        return read_conditions(room_path, options, survey_path=survey_path)
    options = replace(
        options,
        microphone_path=take.microphone,
        holds=known.file_is or options.holds,
        incidence=None if known.angle_deg is None else str(round(known.angle_deg)),
    )
    found = read_conditions(room_path, options, survey_path=survey_path)
    named = {**(found.microphone_document or {}), "file": known.correction_file}
    return replace(found, microphone_document=named)


def _read_room(
    room_path: Path | None, survey_path: Path | None, options: ConditionOptions
) -> RoomFile | None:
    """Read the room file, with its places from the survey if there is one."""
    if room_path is None:
        if survey_path is not None:
            msg = "--survey tells where things stand; give the walls and the air with --room"
            raise click.UsageError(msg)
        return None
    if options.temperature_c is not None or options.humidity_percent is not None:
        msg = "give the temperature and humidity in the room file, not beside it"
        raise click.UsageError(msg)
    if survey_path is None:
        from measure.files.room_file import read_room

        return read_room(room_path)
    from measure.survey.places import room_with_survey

    room, origin = room_with_survey(room_path, survey_path)
    for line in origin:
        click.echo(line, err=True)
    return room


def _microphone_file(options: ConditionOptions) -> MicrophoneFile | None:
    """Return the microphone's file and what it holds, if one was given."""
    from measure.takes.conditions import MicrophoneFile

    if options.microphone_path is None:
        return None
    incidence = options.incidence
    return MicrophoneFile(
        path=options.microphone_path,
        holds=options.holds,
        incidence_deg=None if incidence is None else int(incidence),
    )
