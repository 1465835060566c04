"""The seam to PortAudio, against a stand-in for the library; the real one is in tests/rig."""

from __future__ import annotations

import builtins
import sys
import threading
import types
from typing import Any

import numpy as np
import pytest

from measure.errors import DeviceLostError, SoundDeviceError
from measure.safety.limits import SafeSignal, admit
from measure.safety.treble_ledger import MemoryLedger
from measure.sound import portaudio
from measure.sound.devices import Device, Wiring
from measure.sound.portaudio import DevicePath, devices, has_hanging_stream, takes_rate


def test_a_missing_portaudio_names_its_package(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: what the library raises on a Linux without PortAudio.
    real = builtins.__import__

    def fake(name: str, *rest: Any, **named: Any) -> Any:
        if name == "sounddevice":
            message = "PortAudio library not found"
            raise OSError(message)
        return real(name, *rest, **named)

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(builtins, "__import__", fake)
    with pytest.raises(SoundDeviceError, match="libportaudio2"):
        devices()


class Stream:
    """A stand-in for a stream, driven by hand."""

    made: list[Stream]

    def __init__(self, callback: Any, **asked: Any) -> None:
        self.callback, self.asked, self.active = callback, asked, False
        Stream.made.append(self)

    def start(self) -> None:
        """Begin."""
        self.active = True

    def abort(self) -> None:
        """End."""
        self.active = False

    def close(self) -> None:
        """Nothing is held."""


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> types.ModuleType:
    """Put a stand-in for the sound library in its place."""
    module: Any = types.ModuleType("sounddevice")
    module.PortAudioError = type("PortAudioError", (Exception,), {})
    module.Stream = module.InputStream = module.OutputStream = Stream
    module.default = types.SimpleNamespace(device=[1, 0])
    module.query_hostapis = lambda: [{"name": "ALSA"}]
    one = {"name": "card", "hostapi": 0, "default_samplerate": 44100.0}
    one |= {"max_input_channels": 2, "max_output_channels": 4}
    module.query_devices = lambda: [one, one | {"name": "microphone", "max_output_channels": 0}]
    Stream.made = []
    monkeypatch.setitem(sys.modules, "sounddevice", module)
    return module


def wiring(*, record: int = 0, inputs: tuple[int, ...] = (2, 1)) -> Wiring:
    found = devices()
    return Wiring(
        play=found[0],
        record=found[record],
        output_channels=(3, 1),
        input_channels=inputs,
        sample_rate_hz=48_000,
    )


def quiet(n: int = 4800) -> SafeSignal:
    return admit(np.zeros((2, n)), sample_rate_hz=48_000, ledger=MemoryLedger())


@pytest.mark.usefixtures("library")
def test_devices_as_the_library_tells_them() -> None:
    # Known input.
    card, microphone = devices()
    assert card == Device(
        number=0,
        name="card",
        host="ALSA",
        n_inputs=2,
        n_outputs=4,
        default_rate_hz=44_100,
        default_input=False,
        default_output=True,
    )
    assert microphone.default_input


def test_a_sound_system_that_does_not_answer(library: Any) -> None:
    def silent() -> None:
        msg = "no host"
        raise library.PortAudioError(msg)

    library.query_devices = silent
    with pytest.raises(SoundDeviceError, match=r"doesn't answer \(no host\)"):
        devices()


def test_rates_are_really_asked(library: Any) -> None:
    # Known input: a card that takes one rate only.
    def asked(*, samplerate: int, **_: Any) -> None:
        if samplerate != 48_000:
            raise library.PortAudioError

    library.check_output_settings = asked
    card = devices()[0]
    assert takes_rate(card, 48_000, output=True)
    assert not takes_rate(card, 96_000, output=True)


@pytest.mark.usefixtures("library")
def test_channels_go_where_they_should() -> None:
    # Known input: microphone on input 2, reference on 1; left on output 3, right on 1.
    path = DevicePath(wiring())
    tone = np.sin(2 * np.pi * 1000 / 48_000 * np.arange(480))
    samples = np.stack((0.01 * tone, -0.02 * tone))
    signal = admit(samples, sample_rate_hz=48_000, ledger=MemoryLedger())
    run = path.start(signal, n_frames=1000)
    (stream,) = Stream.made
    assert stream.asked["channels"] == (2, 3)
    indata = np.stack((np.full(480, 0.25), np.full(480, 0.5)), axis=1).astype(np.float32)
    outdata = np.full((480, 3), np.nan, dtype=np.float32)
    stream.callback(indata, outdata, 480, None, None)
    np.testing.assert_array_equal(run.recorded[:, :480], [[0.5] * 480, [0.25] * 480])
    assert np.isnan(run.recorded[:, 480:]).all()
    heard = np.stack((samples[1], np.zeros(480), samples[0]), axis=1)
    np.testing.assert_allclose(outdata, heard, atol=1e-8)
    assert (run.n_recorded, run.n_played) == (480, 480)
    run.close()


@pytest.mark.usefixtures("library")
def test_two_devices_are_two_streams_and_a_full_buffer_is_no_fault() -> None:
    # Known input: more input than there is room for.
    run = DevicePath(wiring(record=1, inputs=(1,))).start(quiet(), n_frames=700)
    into, out = Stream.made
    for _ in range(2):
        into.callback(np.ones((480, 1), dtype=np.float32), 480, None, None)
        out.callback(np.ones((480, 3), dtype=np.float32), 480, None, None)
    assert (run.n_recorded, run.n_played) == (700, 960)
    run.close()


@pytest.mark.usefixtures("library")
def test_the_driver_s_reports_are_kept() -> None:
    # Known input: one flag each way.
    run = DevicePath(wiring()).start(quiet(), n_frames=960)
    status = types.SimpleNamespace(input_overflow=True, output_underflow=True)
    (stream,) = Stream.made
    stream.callback(np.ones((480, 2), np.float32), np.ones((480, 3), np.float32), 480, None, status)
    assert {xrun.kind for xrun in run.xruns} == {"input overflow", "output underflow"}
    run.close()


@pytest.mark.usefixtures("library")
@pytest.mark.parametrize("fault", ["ended", "stalled"])
def test_a_dead_stream_is_noticed(fault: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: the stream says that it ended, or no callback comes any more.
    path = DevicePath(wiring())
    run = path.start(quiet(), n_frames=960)
    path.wait(0)
    if fault == "ended":
        Stream.made[0].active = False
    else:
        monkeypatch.setattr(portaudio, "STALL_S", -1.0)
    with pytest.raises(DeviceLostError, match="card stopped in the middle"):
        path.wait(0)
    run.close()


@pytest.mark.usefixtures("library")
def test_a_stream_that_hangs_is_left_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: a library call that doesn't return.
    monkeypatch.setattr(portaudio, "CLOSE_WITHIN_S", 0.05)
    assert not has_hanging_stream()
    run = DevicePath(wiring()).start(quiet(), n_frames=960)
    hanging = threading.Event()
    Stream.made[0].abort = hanging.wait  # type: ignore[method-assign]
    run.close()
    assert has_hanging_stream()
    hanging.set()


def test_a_refusal_says_what_to_do(library: Any) -> None:
    # Known input: the library's number for a rate that the device doesn't take.
    def refuse(**_: Any) -> None:
        msg = "Error opening Stream: Invalid sample rate"
        raise library.PortAudioError(msg, -9997)

    library.Stream = refuse
    with pytest.raises(SoundDeviceError, match=r"card can't be used: it doesn't take 48000 Hz"):
        DevicePath(wiring()).start(quiet(), n_frames=960)
