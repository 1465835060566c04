"""The options that all live commands share, and the sound path that they mean."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import resources
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from measure.terminal.number_type import NumberRange

if TYPE_CHECKING:
    from measure.files.settings import Settings
    from measure.safety.treble_ledger import Ledger
    from measure.sound.devices import Choice, Device, Wiring
    from measure.sound.path import SoundPath
    from measure.sound.simulation.room import SimulatedRoom
    from measure.takes.facts import Sound

Command = TypeVar("Command", bound=Callable[..., Any])

USUAL_RATE_HZ: Final = 48_000

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


@dataclass(frozen=True, kw_only=True, slots=True)
class Chosen:
    """The devices chosen, and the sampling frequencies that both take."""

    play: Choice
    record: Choice
    wiring: Wiring
    rate_reason: str


def device_options(command: Command) -> Command:
    """Add the options that choose devices, channels and rate."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def live_options(command: Command) -> Command:
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
    """
    devices = options.devices
    if options.simulate:
        _refuse_devices(devices)
        reference = devices.reference_channel is not None
        return simulated(devices.rate_hz, options.pace, reference=reference)
    from measure.sound.portaudio import DevicePath

    return DevicePath(chosen(devices).wiring)


def _refuse_devices(asked: DeviceOptions) -> None:
    """Refuse options that mean nothing in an invented room."""
    for name in ("play", "record", "play_channels", "record_channel"):
        if getattr(asked, name) is not None:
            msg = f"--{name.replace('_', '-')} chooses a device, and --simulate uses none: leave "
            msg += "one of them out"
            raise click.UsageError(msg)


def simulated(rate_hz: int | None, pace: float, *, reference: bool = False) -> SimulatedRoom:
    """Return the invented room."""
    from measure.sound.simulation.room import SimulatedRoom

    return SimulatedRoom(rate_hz or USUAL_RATE_HZ, pace=pace, reference=reference)


def chosen(asked: DeviceOptions) -> Chosen:
    """Choose devices, channels and rate, by the options before the settings.

    Raises
    ------
    SoundDeviceError
        If no such devices are there, or they have no such channels or rate.
    """
    from measure.files.settings import read_settings
    from measure.sound.devices import Wiring, choose
    from measure.sound.portaudio import devices

    kept, found = read_settings(), devices()
    play = choose(found, "play", asked=asked.play, kept=kept.play)
    record = choose(found, "record", asked=asked.record, kept=kept.record)
    rate_hz, rate_reason = _rate(asked, kept, play.device, record.device)
    wiring = Wiring(
        play=play.device,
        record=record.device,
        output_channels=pair(asked.play_channels) or kept.play_channels or (1, 2),
        input_channels=_inputs(asked, kept),
        sample_rate_hz=rate_hz,
    )
    return Chosen(play=play, record=record, wiring=wiring, rate_reason=rate_reason)


def pair(text: str | None) -> tuple[int, int] | None:
    """Return two channels from ``LEFT,RIGHT``.

    Raises
    ------
    click.UsageError
        If they aren't two whole numbers.
    """
    if text is None:
        return None
    parts = text.split(",")
    if len(parts) != 2 or not all(part.strip().isdigit() for part in parts):
        msg = f"--play-channels {text!r} must be two channels with a comma between, such as 3,4"
        raise click.UsageError(msg)
    return int(parts[0]), int(parts[1])


def _inputs(asked: DeviceOptions, kept: Settings) -> tuple[int, ...]:
    """Return the microphone's channel, and the wired reference's if there is one."""
    microphone = asked.record_channel or kept.record_channel or 1
    reference = asked.reference_channel or kept.reference_channel
    return (microphone,) if reference is None else (microphone, reference)


def _rate(asked: DeviceOptions, kept: Settings, play: Device, record: Device) -> tuple[int, str]:
    """Return the sampling frequency and why it was chosen."""
    if asked.rate_hz is not None:
        return asked.rate_hz, "asked for"
    if kept.rate_hz is not None:
        return kept.rate_hz, "from the settings"
    from measure.sound.devices import RATES_HZ
    from measure.sound.portaudio import takes_rate

    for rate_hz in dict.fromkeys((USUAL_RATE_HZ, record.default_rate_hz, *RATES_HZ)):
        if takes_rate(play, rate_hz, output=True) and takes_rate(record, rate_hz, output=False):
            return rate_hz, "both take it"
    return USUAL_RATE_HZ, "they have none in common, so the usual one"


def ledger_of(path: SoundPath) -> Ledger:
    """Return what counts the treble energy: the person's own, or the simulation's."""
    from measure.safety.treble_ledger import MemoryLedger, user_ledger
    from measure.sound.simulation.room import SimulatedRoom

    return MemoryLedger(path.time_s) if isinstance(path, SimulatedRoom) else user_ledger()


def show_cautions(path: SoundPath, *, accepted: bool) -> None:
    """Show what to know before something sounds, and have it accepted the first time.

    Parameters
    ----------
    path : SoundPath
        The simulated room, which can hurt nobody, needs no acceptance.
    accepted : bool
        Whether the option for it was given.

    Raises
    ------
    UnsafeError
        If it isn't accepted.
    """
    from measure.safety.cautions import accepted_before, consent
    from measure.sound.simulation.room import SimulatedRoom

    if isinstance(path, SimulatedRoom):
        click.echo("An invented room plays and listens; nothing really sounds.", err=True)
        return
    if not accepted_before():
        text = resources.files("measure").joinpath("data/before_you_measure.txt")
        click.echo(text.read_text(encoding="utf-8"), err=True)

    def ask(text: str) -> str:
        return str(click.prompt(text, default="", show_default=False, prompt_suffix="", err=True))

    terminal = sys.stdin is not None and sys.stdin.isatty()
    click.echo(consent(ask if terminal else None, accepted_by_option=accepted), err=True)


def sound_facts(path: SoundPath) -> Sound:
    """Return what a take keeps about the way of its sound."""
    from measure.sound.portaudio import DevicePath
    from measure.takes.facts import Sound

    if not isinstance(path, DevicePath):
        return Sound(path=path.name, sample_rate_hz=path.sample_rate_hz, simulated=True)
    wiring = path.wiring
    inputs = wiring.input_channels
    return Sound(
        path=path.name,
        sample_rate_hz=path.sample_rate_hz,
        host=wiring.play.host,
        output=wiring.play.name,
        input=wiring.record.name,
        output_channels=wiring.output_channels,
        input_channel=inputs[0],
        reference_channel=inputs[1] if len(inputs) > 1 else None,
    )
