"""One run of the simulated room: from the emitter's frames to the recorded ones.

Conventions: the recorder keeps true time and the player's clock is off: at +ppm the recorder
counts more frames than the player plays. Everything happens in blocks of `block_frames`,
whatever times are asked for, so a recording doesn't depend on how often somebody looked.

From block to block: the emitter is asked for output until the player's clock has caught up;
the output is taken at the recorder's times, less the latency; each side meets its response,
which changes while a loudspeaker is moved; noise and faults are added; the converter clips.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Float
from measure.errors import DeviceLostError
from measure.safety.limits import SafeSignal
from measure.sound.emitter import Emitter
from measure.sound.path import Xrun
from measure.sound.simulation.block_convolver import BlockConvolver, Complex64
from measure.sound.simulation.faults import PlantedFaults
from measure.sound.simulation.fractional_delay import BEFORE, TAPS, at_positions
from measure.sound.simulation.noise import SimulatedNoise

Float32 = NDArray[np.float32]

BLOCK_AT_48_KHZ: Final = 512
"""About 10 ms, a sound card's usual period. Common practice, no source."""


def block_frames(sample_rate_hz: int) -> int:
    """Return how many frames the simulated device moves at once."""
    return BLOCK_AT_48_KHZ * max(1, round(sample_rate_hz / 48_000))


class Source(Protocol):
    """A loudspeaker in the room, which may be on the move."""

    def parts(self, time_s: float) -> Complex64:
        """Return its response at a time, as `block_convolver.parted` gives it."""


class SimulatedRun:
    """A stretch of playing and recording in the simulated room; `SimulatedRoom.start` makes it.

    Parameters
    ----------
    emitter : Emitter
    sources : sequence of Source
        Left, right.
    noise : SimulatedNoise
    faults : PlantedFaults
    sample_rate_hz, n_frames, n_inputs : int
    start_s : float
        The room's time at which it starts.
    clock_ratio : float
        Recorded frames for each played one.
    latency_s : float
        From an output frame to the same in the wired input.
    """

    def __init__(
        self,
        *,
        emitter: Emitter,
        sources: Sequence[Source],
        noise: SimulatedNoise,
        faults: PlantedFaults,
        sample_rate_hz: int,
        n_frames: int,
        n_inputs: int,
        start_s: float,
        clock_ratio: float,
        latency_s: float,
    ) -> None:
        self._emitter, self._sources = emitter, sources
        self._noise, self._faults = noise, faults
        self._rate_hz, self._start_s = sample_rate_hz, start_s
        self._ratio, self._latency = clock_ratio, latency_s * sample_rate_hz
        self._block = block_frames(sample_rate_hz)
        # At the end of the last block; the next one starts from there.
        self._responses = [source.parts(start_s) for source in sources]
        n_parts = max(len(response) for response in self._responses)
        self._convolver = BlockConvolver(self._block, n_parts)
        self._ramp = (np.arange(self._block) + 0.5) / self._block
        self._recorded = np.full((n_inputs, n_frames), np.nan, dtype=np.float32)
        self._n_recorded = 0
        self._frame = 0
        # Silence before the first frame, which the interpolation reaches into.
        self._played: Float = np.zeros((2, 2 * TAPS + round(self._latency)))
        self._played_from = -self._played.shape[1]
        self._xruns: list[Xrun] = []
        self._lost = False
        self._closed = False

    @property
    def recorded(self) -> Float32:
        """Input, shape (n_inputs, n_frames), NaN where nothing was delivered (yet)."""
        view = self._recorded.view()
        view.flags.writeable = False
        return view

    @property
    def n_recorded(self) -> int:
        """How many frames were delivered from the start."""
        return self._n_recorded

    @property
    def n_played(self) -> int:
        """How many output frames the device took."""
        return int(self._played_from + self._played.shape[1])

    @property
    def xruns(self) -> tuple[Xrun, ...]:
        """What the driver reported so far."""
        return tuple(self._xruns)

    @property
    def closed(self) -> bool:
        """Whether it has ended."""
        return self._closed

    def append(self, signal: SafeSignal, at_frame: int) -> bool:
        """Add output after what is there; False if that moment is too near or past."""
        return not self._closed and self._emitter.append(signal, at_frame)

    def stop(self) -> None:
        """Fade out and be silent; recording goes on until closed."""
        self._emitter.stop()

    def close(self) -> None:
        """End playing and recording; what was recorded stays."""
        self._emitter.stop()
        self._closed = True

    def advance_to(self, time_s: float) -> None:
        """Let the room's time come to `time_s`, in whole blocks.

        Raises
        ------
        DeviceLostError
            From a planted stall on.
        """
        # A hair more than the sum of many short waits, which may round down.
        until = (time_s - self._start_s) * self._rate_hz + 1e-3
        while not self._closed and self._frame + self._block <= until:
            stalls = self._faults.within("stall", self._frame, self._block)
            self._lost = self._lost or any(True for _ in stalls)
            if self._lost:
                msg = "the simulated room stopped delivering: start again"
                raise DeviceLostError(msg)
            self._advance()

    def _advance(self) -> None:
        """Record one block."""
        first, n_frames = self._frame, self._block
        for _ in range(self._faults.n_reported(first, n_frames)):
            self._xruns.append(Xrun(frame=self._n_recorded, kind="input overflow"))
        output = self._output(first)
        for _, here in self._faults.within("swapped", first, n_frames):
            output[:, here] = output[::-1, here]
        inputs = np.zeros((len(self._recorded), n_frames))
        inputs[0] = self._microphone(output)
        inputs[1:] = output.sum(axis=0)
        self._deliver(np.clip(inputs, -1, 1))
        self._frame += n_frames

    def _output(self, first: int) -> Float:
        """Return what sounds during the recorder's frames from `first` on, shape (2, n)."""
        while self.n_played * self._ratio < first + self._block:
            more = np.zeros((self._block, 2), dtype=np.float32)
            self._emitter.fill(more)
            self._played = np.concatenate((self._played, more.T), axis=1)
        position = (first + np.arange(self._block)) / self._ratio - self._latency
        sounding = at_positions(self._played, position - self._played_from)
        # What no later block reaches back to goes.
        n_past = int(position[-1]) - self._played_from - BEFORE
        self._played = self._played[:, n_past:]
        self._played_from += n_past
        return sounding

    def _microphone(self, output: Float) -> Float:
        """Return what the microphone picks up while `output` sounds."""
        end_s = self._start_s + (self._frame + self._block) / self._rate_hz
        responses = [source.parts(end_s) for source in self._sources]
        fed = []
        for samples, before, after in zip(output, self._responses, responses, strict=True):
            if after is before:
                fed.append((samples, before))
            else:
                fed += [(samples * (1 - self._ramp), before), (samples * self._ramp, after)]
        self._responses = responses
        heard = self._convolver.convolve(fed) + self._noise.take(self._block)
        for fault, here in self._faults.within("burst", self._frame, self._block):
            n_burst = here.stop - here.start
            heard[here] += 10 ** (fault.amount_db / 20) * self._noise.burst(n_burst)
        for fault, here in self._faults.within("gain", self._frame, self._block):
            heard[here] *= 10 ** (fault.amount_db / 20)
        for _, here in self._faults.within("silence", self._frame, self._block):
            heard[here] = 0
        return heard

    def _deliver(self, inputs: Float) -> None:
        """Put a block where it belongs in the recording, as far as there is room."""
        delivered = np.ones(self._block, dtype=np.bool_)
        for _, here in self._faults.within("zeroed", self._frame, self._block):
            inputs[:, here] = 0
        for _, here in self._faults.within("undelivered", self._frame, self._block):
            inputs[:, here] = np.nan
        for _, here in self._faults.within("lost", self._frame, self._block):
            delivered[here] = False
        block = inputs[:, delivered][:, : self._recorded.shape[1] - self._n_recorded]
        self._recorded[:, self._n_recorded : self._n_recorded + block.shape[1]] = block
        self._n_recorded += block.shape[1]
