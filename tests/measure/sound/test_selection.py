"""Which devices, channels and rate are used. Truth: two invented devices, written out here."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.files.settings import Settings, write_settings
from measure.files.system import VARIABLE
from measure.safety.treble_ledger import MemoryLedger
from measure.sound import portaudio
from measure.sound.devices import Device
from measure.sound.selection import DeviceRequest, select_devices, simulated_room, treble_ledger

CARD = Device(
    number=0,
    name="card",
    host="ALSA",
    n_inputs=0,
    n_outputs=4,
    default_rate_hz=48_000,
    default_input=False,
    default_output=True,
)
MICROPHONE = Device(
    number=1,
    name="microphone",
    host="ALSA",
    n_inputs=2,
    n_outputs=0,
    default_rate_hz=44_100,
    default_input=True,
    default_output=False,
)


@pytest.fixture(autouse=True)
def rates_hz(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> set[int]:
    """Have the two devices and nothing kept; return the rates of the microphone."""
    taken = {44_100, 48_000, 96_000}
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    monkeypatch.setattr(portaudio, "devices", lambda: (CARD, MICROPHONE))
    monkeypatch.setattr(
        portaudio, "takes_rate", lambda _, rate_hz, *, output: output or rate_hz in taken
    )
    return taken


def test_nothing_asked_and_nothing_kept_is_the_usual() -> None:
    found = select_devices(DeviceRequest())
    wiring = found.wiring
    assert (wiring.play, wiring.record) == (CARD, MICROPHONE)
    assert (wiring.output_channels, wiring.input_channels) == ((1, 2), (1,))
    assert (wiring.sample_rate_hz, found.rate_reason) == (48_000, "both take it")


def test_an_input_taken_unasked_is_said() -> None:
    # Known input: a microphone input that is one of two, told by nothing, by option, by settings.
    found = select_devices(DeviceRequest())
    assert found.unasked_text is not None
    assert found.unasked_text.startswith("input 1 of the 2 of microphone")
    assert select_devices(DeviceRequest(record_channel=1)).unasked_text is None
    # The other input is the wired reference, so only one is left.
    assert select_devices(DeviceRequest(reference_channel=2)).unasked_text is None
    write_settings(Settings(record_channel=1))
    assert select_devices(DeviceRequest()).unasked_text is None


def test_what_is_asked_goes_before_what_is_kept() -> None:
    write_settings(
        Settings(play_channels=(3, 4), record_channel=2, reference_channel=1, rate_hz=96_000)
    )
    kept = select_devices(DeviceRequest())
    assert (kept.wiring.output_channels, kept.wiring.input_channels) == ((3, 4), (2, 1))
    assert (kept.wiring.sample_rate_hz, kept.rate_reason) == (96_000, "from the settings")
    asked = select_devices(
        DeviceRequest(play_channels=(2, 1), record_channel=1, reference_channel=2, rate_hz=44_100)
    )
    assert (asked.wiring.output_channels, asked.wiring.input_channels) == ((2, 1), (1, 2))
    assert (asked.wiring.sample_rate_hz, asked.rate_reason) == (44_100, "asked for")


def test_a_rate_that_both_take_goes_before_the_usual(rates_hz: set[int]) -> None:
    rates_hz -= {48_000}
    assert select_devices(DeviceRequest()).wiring.sample_rate_hz == 44_100
    rates_hz.clear()
    found = select_devices(DeviceRequest())
    assert found.wiring.sample_rate_hz == 48_000
    assert "none in common" in found.rate_reason


def test_the_simulation_heats_no_tweeter_of_the_person() -> None:
    assert isinstance(treble_ledger(simulated_room(None, 1.0)), MemoryLedger)
