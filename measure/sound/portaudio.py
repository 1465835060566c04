"""PortAudio: the one module that knows the sound library, and imports it late.

What a device says of itself, which formats it takes, and runs on it. Audio is moved in
callbacks only: blocking reads were seen to corrupt memory on one host. A callback copies
between arrays that were made before; it neither prints, nor writes, nor makes arrays.

PortAudio reports little. A sound server that dies leaves a stream whose calls hang for
ever, so a run has its own watchdog, and a stream is closed in a thread that may be left
behind: `measure.cli.main` then ends the process without waiting for it.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from measure.errors import DeviceLostError, SoundDeviceError
from measure.safety.limits import SafeSignal
from measure.sound.devices import Device, Wiring
from measure.sound.emitter import Emitter
from measure.sound.path import Float32, Xrun

HOW_TO_GET_PORTAUDIO: Final = (
    "the system's PortAudio library is missing (on Debian and Ubuntu: apt install "
    "libportaudio2); sweeps can still be made and recordings read"
)

OUTPUT_LATENCY_S: Final = 0.03
"""What waits in the device when a run is stopped is still heard; with the fade of 10 ms
and a callback's own length this keeps within the 50 ms of `measure.sound.path.STOP_WITHIN_S`."""

INPUT_LATENCY_S: Final = 0.1
"""The input may wait: a longer buffer rides over a busy moment."""

STALL_S: Final = 1.0
"""A stream without a callback for so long has stopped; buffers are a tenth of it."""

CLOSE_WITHIN_S: Final = 1.5

CLOSER: Final = "apexline-closing-a-stream"
"""Name of the threads that close streams."""

MOST_XRUNS: Final = 10_000

_REASONS: Final = {
    -9997: "it doesn't take {rate} Hz: `apexline devices` lists what it takes; choose with --rate",
    -9998: "it doesn't have the channels asked for: `apexline devices` lists how many it has",
    -9985: "another program uses it: close that program",
    -9996: "it isn't there any more: plug it in again, then `apexline devices`",
    -9993: "play and record devices of two sound systems don't go together: choose both of one",
    -9999: "the sound system refuses it: is it plugged in, and does no other program use it?",
}
"""PortAudio's error numbers (portaudio.h) as the person meets them."""


def library() -> Any:
    """Return the sound library.

    Raises
    ------
    SoundDeviceError
        If it, or the PortAudio library below it, isn't installed.
    """
    try:
        with _mute_libraries():
            import sounddevice
    except OSError as problem:
        raise SoundDeviceError(HOW_TO_GET_PORTAUDIO) from problem
    except ImportError as problem:
        msg = "the Python package sounddevice isn't installed; install apexline again"
        raise SoundDeviceError(msg) from problem
    return sounddevice


@contextlib.contextmanager
def _mute_libraries() -> Iterator[None]:
    """Keep what the system's sound libraries write to standard error from the person."""
    try:
        kept = os.dup(2)
        nowhere = os.open(os.devnull, os.O_WRONLY)
    except OSError:
        yield
        return
    sys.stderr.flush()
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def devices() -> tuple[Device, ...]:
    """Return this machine's sound devices.

    Raises
    ------
    SoundDeviceError
        If the sound library is missing or can't be asked.
    """
    sd = library()
    try:
        with _mute_libraries():
            found, hosts, default = sd.query_devices(), sd.query_hostapis(), sd.default.device
    except sd.PortAudioError as problem:
        msg = f"the sound system doesn't answer ({problem}): is it running?"
        raise SoundDeviceError(msg) from problem
    return tuple(
        Device(
            number=number,
            name=str(one["name"]),
            host=str(hosts[one["hostapi"]]["name"]),
            n_inputs=int(one["max_input_channels"]),
            n_outputs=int(one["max_output_channels"]),
            default_rate_hz=round(float(one["default_samplerate"])),
            default_input=number == default[0],
            default_output=number == default[1],
        )
        for number, one in enumerate(found)
    )


def takes_rate(device: Device, rate_hz: int, *, output: bool) -> bool:
    """Ask a device whether it would open at a sampling frequency, as float samples."""
    sd = library()
    n_channels = min(2, device.n_outputs) if output else 1
    ask = sd.check_output_settings if output else sd.check_input_settings
    try:
        with _mute_libraries():
            ask(device=device.number, channels=n_channels, dtype="float32", samplerate=rate_hz)
    except (sd.PortAudioError, ValueError):
        return False
    return True


class DevicePath:
    """Two loudspeakers and a microphone behind real devices.

    Parameters
    ----------
    wiring : Wiring
        Devices, channels and sampling frequency.
    """

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring
        self._run: DeviceRun | None = None

    @property
    def name(self) -> str:
        """What to call it in a sentence."""
        return self.wiring.name

    @property
    def audible(self) -> bool:
        """Whether it makes real sound."""
        return True

    @property
    def sample_rate_hz(self) -> int:
        """Nominal, of output and input."""
        return self.wiring.sample_rate_hz

    @property
    def n_inputs(self) -> int:
        """Recorded channels."""
        return len(self.wiring.input_channels)

    def start(self, signal: SafeSignal, *, n_frames: int, repeat: bool = False) -> DeviceRun:
        """Start a run; see `measure.sound.path.SoundPath.start`.

        Raises
        ------
        SoundDeviceError
            If the device is missing, busy, or refuses the format.
        """
        self._run = DeviceRun(self.wiring, signal, n_frames=n_frames, repeat=repeat)
        return self._run

    def wait(self, duration_s: float) -> None:
        """Sleep, and see whether the run still lives.

        Raises
        ------
        DeviceLostError
            If the device stopped delivering.
        """
        time.sleep(duration_s)
        if self._run is not None:
            self._run.check()


class DeviceRun:
    """A run on real devices; see `measure.sound.path.Run`.

    One duplex stream where both directions belong to one device, else two streams with
    clocks of their own.
    """

    def __init__(self, wiring: Wiring, signal: SafeSignal, *, n_frames: int, repeat: bool) -> None:
        self._wiring = wiring
        self._emitter = Emitter(
            signal,
            repeat=repeat,
            channels=(wiring.output_channels[0] - 1, wiring.output_channels[1] - 1),
            n_device_channels=max(wiring.output_channels),
        )
        self._columns = tuple(channel - 1 for channel in wiring.input_channels)
        self._recorded = np.full((len(self._columns), n_frames), np.nan, dtype=np.float32)
        self._n_recorded = self._n_played = 0
        self._xruns: list[Xrun] = []
        self._beats = [time.monotonic(), time.monotonic()]
        self._ended = False
        self._streams: list[Any] = []
        self._open()

    @property
    def recorded(self) -> Float32:
        """Input, NaN where nothing was delivered."""
        return self._recorded

    @property
    def n_recorded(self) -> int:
        """Frames delivered from the start."""
        return self._n_recorded

    @property
    def n_played(self) -> int:
        """Output frames that the device took."""
        return self._n_played

    @property
    def xruns(self) -> tuple[Xrun, ...]:
        """What the driver reported."""
        return tuple(self._xruns)

    def append(self, signal: SafeSignal, at_frame: int) -> bool:
        """Add output; False if that moment is too near or past."""
        return self._emitter.append(signal, at_frame)

    def stop(self) -> None:
        """Fade out."""
        self._emitter.stop()

    def check(self) -> None:
        """Raise an error if a stream has stopped delivering.

        Raises
        ------
        DeviceLostError
            Naming the device.
        """
        if self._ended:
            return
        now_s = time.monotonic()
        for stream, beat_s in zip(self._streams, self._beats, strict=False):
            if now_s - beat_s > STALL_S or not stream.active:
                msg = (
                    f"{self._wiring.name} stopped in the middle: it was unplugged, or the sound "
                    "system ended; plug it in or restart the sound system, and see `apexline "
                    "devices`"
                )
                raise DeviceLostError(msg)

    def close(self) -> None:
        """End the streams, without waiting longer than a dead one deserves."""
        if self._ended:
            return
        self._ended = True
        self._emitter.stop()
        closers = [
            threading.Thread(target=_end, args=(stream,), name=CLOSER, daemon=True)
            for stream in self._streams
        ]
        for closer in closers:
            closer.start()
        for closer in closers:
            closer.join(CLOSE_WITHIN_S)

    def _open(self) -> None:
        """Open and start the streams."""
        sd, wiring = library(), self._wiring
        n_inputs, n_outputs = max(wiring.input_channels), max(wiring.output_channels)
        common = {"samplerate": wiring.sample_rate_hz, "dtype": "float32"}
        play, record = wiring.play.number, wiring.record.number
        try:
            with _mute_libraries():
                if wiring.one_clock:
                    self._streams.append(
                        sd.Stream(
                            device=(record, play),
                            channels=(n_inputs, n_outputs),
                            latency=(INPUT_LATENCY_S, OUTPUT_LATENCY_S),
                            callback=self._duplex,
                            **common,
                        )
                    )
                else:
                    into = {"device": record, "channels": n_inputs, "latency": INPUT_LATENCY_S}
                    out = {"device": play, "channels": n_outputs, "latency": OUTPUT_LATENCY_S}
                    self._streams.append(sd.InputStream(callback=self._record, **into, **common))
                    self._streams.append(sd.OutputStream(callback=self._play, **out, **common))
                for stream in self._streams:
                    stream.start()
        except (sd.PortAudioError, ValueError) as problem:
            self.close()
            raise SoundDeviceError(self._explain_refusal(problem)) from problem
        self._beats = [time.monotonic()] * 2

    def _explain_refusal(self, problem: Exception) -> str:
        """Say why the devices wouldn't start."""
        number = int(problem.args[1]) if len(problem.args) > 1 else 0
        reason = _REASONS.get(number, f"{problem.args[0]}: see `apexline devices`")
        return f"{self._wiring.name} can't be used: " + reason.format(
            rate=self._wiring.sample_rate_hz
        )

    def _duplex(self, indata: Any, outdata: Any, n: int, moment: Any, status: Any) -> None:
        """Move one block both ways."""
        self._record(indata, n, moment, status)
        self._play(outdata, n, moment, None)
        self._beats[1] = self._beats[0]

    def _record(self, indata: Any, n: int, moment: Any, status: Any) -> None:  # noqa: ARG002
        """Keep one block of input."""
        first = self._n_recorded
        n_kept = min(n, self._recorded.shape[1] - first)
        for row, column in enumerate(self._columns):
            self._recorded[row, first : first + n_kept] = indata[:n_kept, column]
        self._n_recorded = first + n_kept
        self._beats[0] = time.monotonic()
        if status:
            self._note(status)

    def _play(self, outdata: Any, n: int, moment: Any, status: Any) -> None:  # noqa: ARG002
        """Give one block of output."""
        self._emitter.fill(outdata)
        self._n_played += n
        self._beats[-1] = time.monotonic()
        if status:
            self._note(status)

    def _note(self, status: Any) -> None:
        """Keep what the driver reported."""
        if len(self._xruns) >= MOST_XRUNS:
            return
        for kind in ("input_overflow", "input_underflow", "output_overflow", "output_underflow"):
            if getattr(status, kind, False):
                frame = self._n_recorded if kind.startswith("input") else self._n_played
                self._xruns.append(Xrun(frame=frame, kind=kind.replace("_", " ")))


def _end(stream: Any) -> None:
    """Stop and close a stream; what a broken one raises no longer matters."""
    with contextlib.suppress(Exception):
        stream.abort()
    with contextlib.suppress(Exception):
        stream.close()


def has_hanging_stream() -> bool:
    """Return whether a stream couldn't be closed, so that the process can't end by itself."""
    return any(thread.name == CLOSER for thread in threading.enumerate())
