"""What is known around a recording: air, room and microphone, as the options name them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from measure.terminal.number_type import NumberRange

if TYPE_CHECKING:
    from analysis.basics.air import Air
    from analysis.room.room import Positions, Room
    from analysis.room.space import Space
    from measure.files.microphone import Microphone
    from measure.files.output import JsonObject

Command = TypeVar("Command", bound=Callable[..., Any])

FILE: Final = click.Path(path_type=Path)

_OPTIONS: Final = (
    click.option(
        "--temperature",
        "temperature_c",
        type=NumberRange(-20, 50),
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


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Surroundings:
    """What is known around a recording.

    Attributes
    ----------
    air : Air
    air_measured : bool
        Whether somebody looked at a thermometer.
    room : tuple of (Room or Space, Positions) or None
    microphone : Microphone or None
    microphone_document : mapping or None
        What the JSON says of it.
    """

    air: Air
    air_measured: bool
    room: tuple[Room | Space, Positions] | None
    microphone: Microphone | None
    microphone_document: Mapping[str, Any] | None


def surrounding_options(command: Command) -> Command:
    """Add the options of air and microphone."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def surroundings(
    room_path: Path | None, options: ConditionOptions, *, survey_path: Path | None = None
) -> Surroundings:
    """Return what the options mean.

    Parameters
    ----------
    room_path : Path or None
    options : ConditionOptions
    survey_path : Path, optional
        Where pair and seat stand, in place of the room file's own; with a room file only.

    Returns
    -------
    Surroundings

    Raises
    ------
    RoomFileError, SurveyFileError, MicrophoneFileError
        If a file can't be used.
    click.UsageError
        If the options contradict each other.
    """
    temperature_c = options.temperature_c
    air, room = _air_and_room(room_path, survey_path, temperature_c, options.humidity_percent)
    microphone = _microphone(options.microphone_path, options.holds, options.incidence)
    return Surroundings(
        air=air,
        air_measured=room_path is not None or temperature_c is not None,
        room=room,
        microphone=microphone,
        microphone_document=_said(microphone, options.microphone_path, options.holds),
    )


def _air_and_room(
    room_path: Path | None,
    survey_path: Path | None,
    temperature_c: float | None,
    humidity_percent: float | None,
) -> tuple[Air, tuple[Room | Space, Positions] | None]:
    """Return the air, and the room where there is a file."""
    from analysis.basics.air import DEFAULT_TEMPERATURE_C, DEFAULT_TEMPERATURE_STD_C, air_at
    from measure.files.room_file import THERMOMETER_STD_C
    from measure.survey.places import room_with_survey

    if room_path is not None:
        if temperature_c is not None or humidity_percent is not None:
            msg = "give the temperature and humidity in the room file, not beside it"
            raise click.UsageError(msg)
        file, origin = room_with_survey(room_path, survey_path)
        for line in origin:
            click.echo(line, err=True)
        return file.air, (file.room or file.space, file.positions)
    if survey_path is not None:
        msg = "--survey tells where things stand; give the walls and the air with --room"
        raise click.UsageError(msg)
    try:
        air = air_at(
            DEFAULT_TEMPERATURE_C if temperature_c is None else temperature_c,
            temperature_std_c=DEFAULT_TEMPERATURE_STD_C
            if temperature_c is None
            else THERMOMETER_STD_C,
            relative_humidity_percent=humidity_percent,
        )
    except ValueError as problem:
        raise click.UsageError(str(problem)) from problem
    return air, None


def _microphone(path: Path | None, holds: str, incidence: str | None) -> Microphone | None:
    """Return the microphone's correction, if a file was given."""
    if path is None:
        return None
    from measure.files.microphone import read_microphone

    return read_microphone(
        path, holds=holds, incidence_deg=None if incidence is None else int(incidence)
    )


def _said(microphone: Microphone | None, path: Path | None, holds: str) -> JsonObject | None:
    """Return what is known of the microphone, for the JSON."""
    if microphone is None or path is None:
        return None
    from measure.files.microphone import PRINTED_HZ

    return {
        "file": path.name,
        "file_is": holds,
        "incidence_deg": microphone.incidence_deg,
        "applied_db": [
            {"frequency_hz": at_hz, "correction_db": microphone.at_db(at_hz)}
            for at_hz in PRINTED_HZ
        ],
    }
