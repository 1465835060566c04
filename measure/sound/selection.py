"""Which sound path is used: devices and rate as asked for or kept in the settings, or a simulation.

Conventions: those of `measure.sound.devices`. What is asked for goes before what was kept, and
that before the system's own choice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from measure.sound.devices import RATES_HZ, Choice, Device, Wiring, choose

if TYPE_CHECKING:
    from measure.files.settings import Settings
    from measure.safety.treble_ledger import Ledger
    from measure.sound.path import SoundPath
    from measure.sound.simulation.room import SimulatedRoom

USUAL_RATE_HZ: Final = 48_000


@dataclass(frozen=True, kw_only=True, slots=True)
class DeviceRequest:
    """What is asked of devices, channels and rate; None where nothing.

    Attributes
    ----------
    play, record : str or None
        Device names, as `measure.sound.devices.choose` takes them.
    play_channels : tuple of int or None
        Left and right, from 1.
    record_channel, reference_channel : int or None
        The microphone's and the wired reference's, from 1.
    rate_hz : int or None
    """

    play: str | None = None
    record: str | None = None
    play_channels: tuple[int, int] | None = None
    record_channel: int | None = None
    reference_channel: int | None = None
    rate_hz: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class DeviceSelection:
    """The devices chosen with their channels and rate, and why that rate.

    Attributes
    ----------
    channel_unasked : bool
        Whether the microphone's input is one of several, and nobody said which.
    """

    play: Choice
    record: Choice
    wiring: Wiring
    rate_reason: str
    channel_unasked: bool

    @property
    def unasked_text(self) -> str | None:
        """What to say of an input that was taken unasked, or None."""
        if not self.channel_unasked:
            return None
        wiring = self.wiring
        return (
            f"input {wiring.input_channels[0]} of the {wiring.record.n_inputs} of "
            f"{wiring.record.name} is taken for the microphone; --record-channel takes another"
        )


def select_devices(asked: DeviceRequest) -> DeviceSelection:
    """Choose devices, channels and rate, by what is asked for before the settings.

    Raises
    ------
    SoundDeviceError
        If no such devices are there, or they have no such channels or rate.
    SettingsError
        If the settings can't be read.
    """
    from measure.files.settings import read_settings
    from measure.sound.portaudio import devices

    kept, found = read_settings(), devices()
    play = choose(found, "play", asked=asked.play, kept=kept.play)
    record = choose(found, "record", asked=asked.record, kept=kept.record)
    rate_hz, rate_reason = _rate(asked, kept, play.device, record.device)
    wiring = Wiring(
        play=play.device,
        record=record.device,
        output_channels=asked.play_channels or kept.play_channels or (1, 2),
        input_channels=_inputs(asked, kept),
        sample_rate_hz=rate_hz,
    )
    told = asked.record_channel or kept.record_channel
    free = record.device.n_inputs - len(wiring.input_channels) + 1
    return DeviceSelection(
        play=play,
        record=record,
        wiring=wiring,
        rate_reason=rate_reason,
        channel_unasked=told is None and free > 1,
    )


def _inputs(asked: DeviceRequest, kept: Settings) -> tuple[int, ...]:
    """Return the microphone's channel, and the wired reference's if there is one."""
    microphone = asked.record_channel or kept.record_channel or 1
    reference = asked.reference_channel or kept.reference_channel
    return (microphone,) if reference is None else (microphone, reference)


def _rate(asked: DeviceRequest, kept: Settings, play: Device, record: Device) -> tuple[int, str]:
    """Return the sampling frequency and why it was chosen."""
    if asked.rate_hz is not None:
        return asked.rate_hz, "asked for"
    if kept.rate_hz is not None:
        return kept.rate_hz, "from the settings"
    from measure.sound.portaudio import takes_rate

    for rate_hz in dict.fromkeys((USUAL_RATE_HZ, record.default_rate_hz, *RATES_HZ)):
        if takes_rate(play, rate_hz, output=True) and takes_rate(record, rate_hz, output=False):
            return rate_hz, "both take it"
    return USUAL_RATE_HZ, "they have none in common, so the usual one"


def simulated_room(rate_hz: int | None, pace: float, *, reference: bool = False) -> SimulatedRoom:
    """Return the invented room."""
    from measure.sound.simulation.room import SimulatedRoom

    return SimulatedRoom(rate_hz or USUAL_RATE_HZ, pace=pace, reference=reference)


def treble_ledger(path: SoundPath) -> Ledger:
    """Return what counts the treble energy: the person's own, or the simulation's."""
    from measure.safety.treble_ledger import MemoryLedger, user_ledger
    from measure.sound.simulation.room import SimulatedRoom

    return MemoryLedger(path.time_s) if isinstance(path, SimulatedRoom) else user_ledger()
