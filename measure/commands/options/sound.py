"""The options of devices and of the simulated room, and the sound path that they mean."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from measure.terminal.number_type import NumberRange

if TYPE_CHECKING:
    from measure.sound.path import SoundPath
    from measure.sound.selection import DeviceRequest

Command = TypeVar("Command", bound=Callable[..., Any])

_OPTIONS: Final = (
    click.option("--play", metavar="DEVICE", help="Play with: name, part of it, or number."),
    click.option("--record", metavar="DEVICE", help="Record with: name, part of it, or number."),
    click.option(
        "--play-channels",
        metavar="LEFT,RIGHT",
        help="Outputs wired to the loudspeakers, from 1.  [default: 1,2]",
    ),
    click.option(
        "--record-channel",
        type=click.IntRange(min=1),
        help="The microphone's input, from 1.  [default: 1]",
    ),
    click.option(
        "--reference-channel",
        type=click.IntRange(min=1),
        help="Input wired to the left output, from 1: gives absolute distances.",
    ),
    click.option(
        "--rate",
        "rate_hz",
        type=click.IntRange(44_100, 192_000),
        help="Sampling frequency, Hz.  [default: 48000, or what both devices take]",
    ),
)

_SIMULATION: Final = (
    click.option(
        "--simulate", is_flag=True, help="Use an invented room instead of devices; no sound."
    ),
    click.option(
        "--pace",
        type=NumberRange(min=0.1),
        show_default=True,
        help="With --simulate: so many times faster than a clock.",
    ),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class DeviceOptions:
    """What the options said of devices, channels and rate; None where nothing."""

    play: str | None = None
    record: str | None = None
    play_channels: str | None = None
    record_channel: int | None = None
    reference_channel: int | None = None
    rate_hz: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class SoundOptions:
    """What the options said of the way of the sound.

    Attributes
    ----------
    devices : DeviceOptions
    simulate : bool
        Take the invented room instead.
    pace : float
        So many times faster than a clock, there.
    """

    devices: DeviceOptions = field(default_factory=DeviceOptions)
    simulate: bool = False
    pace: float = 1.0


def device_options(command: Command) -> Command:
    """Add the options that choose devices, channels and rate."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def sound_options(command: Command) -> Command:
    """Add those, and the ones of the simulated room."""
    for option in reversed(_SIMULATION):
        command = option(command)
    return device_options(command)


def sound_path(options: SoundOptions) -> SoundPath:
    """Return the sound path that the options and the settings mean.

    Raises
    ------
    SoundDeviceError
        If no such devices are there, or they have no such channels or rate.
    click.UsageError
        If the options contradict each other.
    """
    from measure.sound.selection import select_devices, simulated_room

    devices = options.devices
    if options.simulate:
        _refuse_devices(devices)
        reference = devices.reference_channel is not None
        return simulated_room(devices.rate_hz, options.pace, reference=reference)
    from measure.sound.portaudio import DevicePath

    chosen = select_devices(device_request(devices))
    if chosen.unasked_text is not None:
        click.echo(f"Note: {chosen.unasked_text}.", err=True)
    return DevicePath(chosen.wiring)


def _refuse_devices(asked: DeviceOptions) -> None:
    """Refuse options that mean nothing in an invented room."""
    for name in ("play", "record", "play_channels", "record_channel"):
        if getattr(asked, name) is not None:
            msg = f"--{name.replace('_', '-')} chooses a device, and --simulate uses none: leave "
            msg += "one of them out"
            raise click.UsageError(msg)


def device_request(options: DeviceOptions) -> DeviceRequest:
    """Return what the options ask of devices.

    Raises
    ------
    click.UsageError
        If ``--play-channels`` isn't two whole numbers.
    """
    from measure.sound.selection import DeviceRequest

    return DeviceRequest(
        play=options.play,
        record=options.record,
        play_channels=_channel_pair(options.play_channels),
        record_channel=options.record_channel,
        reference_channel=options.reference_channel,
        rate_hz=options.rate_hz,
    )


def _channel_pair(text: str | None) -> tuple[int, int] | None:
    """Return two channels from ``LEFT,RIGHT``."""
    if text is None:
        return None
    parts = text.split(",")
    if len(parts) != 2 or not all(part.strip().isdigit() for part in parts):
        msg = f"--play-channels {text!r} must be two channels with a comma between, such as 3,4"
        raise click.UsageError(msg)
    return int(parts[0]), int(parts[1])
