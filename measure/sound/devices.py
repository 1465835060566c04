"""Which devices play and record, and why those.

Conventions: channels are counted from 1, as they are labelled on the devices. Devices are
chosen by name or a part of it, or by number; numbers shift when something is plugged in,
so names are what is remembered. Where two sound systems reach devices of one name,
``NAME @ SYSTEM`` tells them apart.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

from measure.errors import NoMicrophoneError, SoundDeviceError

RATES_HZ: Final = (44_100, 48_000, 88_200, 96_000, 192_000)

Direction = Literal["play", "record"]

ONE_CLOCK_HOST: Final = "JACK Audio Connection Kit"
"""PortAudio's name for the sound server under which all devices run on one clock."""

_SERVERS: Final = ("default", "sysdefault", "pulse", "pipewire", "dmix", "dsnoop")

_MIXING_HOSTS: Final = {
    "MME": "resamples silently and mixes in other programs' sounds",
    "Windows DirectSound": "resamples silently and mixes in other programs' sounds",
    "Windows WASAPI": "mixes in other programs' sounds unless it is opened exclusively",
    "Core Audio": "resamples silently where its rate is set otherwise, and mixes in other sounds",
}
"""Common practice, no source: how these sound systems work by default."""


_HEARS_OUTPUT: Final = re.compile(
    r"\b(monitor|loop[- ]?back|(stereo|wave ?out) mix)\b", re.IGNORECASE
)
"""What systems call an input that hears an output: common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Device:
    """What a device says of itself.

    Attributes
    ----------
    number : int
        Today's.
    name : str
    host : str
        The sound system through which it is reached.
    n_inputs, n_outputs : int
        Channels.
    default_rate_hz : int
    default_input, default_output : bool
        Whether the system would take it.
    """

    number: int
    name: str
    host: str
    n_inputs: int
    n_outputs: int
    default_rate_hz: int
    default_input: bool
    default_output: bool

    def n_channels(self, direction: Direction) -> int:
        """Return how many channels it has in a direction."""
        return self.n_outputs if direction == "play" else self.n_inputs

    @property
    def hears_output(self) -> bool:
        """Whether its name says that it records what the computer plays, not a microphone."""
        return self.n_inputs > 0 and _HEARS_OUTPUT.search(self.name) is not None

    @property
    def caution(self) -> str | None:
        """What its sound system does unasked, or None."""
        named = self.name.lower().split(":")[0].strip()
        if self.host == "ALSA" and named in _SERVERS:
            return "resamples silently and mixes in other programs' sounds"
        return _MIXING_HOSTS.get(self.host)


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """A device and why it was chosen."""

    device: Device
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Wiring:
    """Devices, channels and sampling frequency of a sound path.

    Attributes
    ----------
    play, record : Device
    output_channels : tuple of int
        Left and right, from 1.
    input_channels : tuple of int
        The microphone's, then the wired reference's if there is one; from 1.
    sample_rate_hz : int
    """

    play: Device
    record: Device
    output_channels: tuple[int, int]
    input_channels: tuple[int, ...]
    sample_rate_hz: int

    def __post_init__(self) -> None:
        _require_channels(self.output_channels, self.play, "play")
        _require_channels(self.input_channels, self.record, "record")

    @property
    def one_clock(self) -> bool:
        """Whether both directions share a clock, so that one stream can serve both."""
        same = self.play.number == self.record.number
        return same or self.play.host == self.record.host == ONE_CLOCK_HOST

    @property
    def name(self) -> str:
        """What to call it in a sentence."""
        same = self.play.number == self.record.number
        return self.play.name if same else f"{self.play.name} and {self.record.name}"


def _require_channels(channels: tuple[int, ...], device: Device, direction: Direction) -> None:
    """Refuse channels that a device doesn't have, and one channel for two things."""
    n_channels = device.n_channels(direction)
    for channel in channels:
        if not 1 <= channel <= n_channels:
            msg = f"{device.name} has {n_channels} channel{'s' if n_channels > 1 else ''} to "
            msg += f"{direction} with, so there is no channel {channel}"
            raise SoundDeviceError(msg)
    if len(set(channels)) < len(channels):
        msg = f"{device.name}: channel {channels[0]} can't serve for two things at once"
        raise SoundDeviceError(msg)


def choose(
    devices: tuple[Device, ...], direction: Direction, *, asked: str | None, kept: str | None
) -> Choice:
    """Choose a device.

    Parameters
    ----------
    devices : tuple of Device
    direction : ``play`` or ``record``
    asked : str or None
        Name, part of a name, or number, as given now.
    kept : str or None
        The same from the settings.

    Returns
    -------
    Choice

    Raises
    ------
    SoundDeviceError
        If there is none, or none or several fit; `NoMicrophoneError` if nothing is named and
        every input hears an output.
    """
    able = [device for device in devices if device.n_channels(direction) > 0]
    if not able:
        msg = f"there is no device to {direction} with: plug one in, then `apexline devices`"
        raise SoundDeviceError(msg)
    for wanted, why in ((asked, "asked for"), (kept, "from the settings")):
        if wanted is not None:
            return Choice(device=_find_named(able, wanted, direction), reason=why)
    if direction == "record":
        able = _microphones(able)
    for device in able:
        if device.default_output if direction == "play" else device.default_input:
            return Choice(device=device, reason="the system's own choice")
    return Choice(device=able[0], reason="the first that can")


def _microphones(able: list[Device]) -> list[Device]:
    """Return the inputs that don't hear an output; refuse to take one unasked that does."""
    found = [device for device in able if not device.hears_output]
    if not found:
        names = ", ".join(f"'{device.name}'" for device in able)
        msg = f"every input here hears what the computer plays, not a microphone ({names}): plug a "
        msg += "microphone in, then `apexline devices`; --record takes such an input by its name"
        raise NoMicrophoneError(msg)
    return found


def _find_named(able: list[Device], wanted: str, direction: Direction) -> Device:
    """Return the device that a name, part of one or number means."""
    if wanted.strip().isdigit():
        fitting = [device for device in able if device.number == int(wanted)]
    else:
        name, _, host = (part.strip().casefold() for part in wanted.partition("@"))
        there = [device for device in able if host in device.host.casefold()]
        fitting = [device for device in there if device.name.casefold() == name]
        fitting = fitting or [device for device in there if name in device.name.casefold()]
    if len(fitting) == 1:
        return fitting[0]
    offered = ", ".join(f"{one.number} '{one.name} @ {one.host}'" for one in fitting or able)
    what = "fits several devices" if fitting else "is no device"
    msg = f"{wanted!r} {what} to {direction} with: there are {offered}"
    raise SoundDeviceError(msg)
