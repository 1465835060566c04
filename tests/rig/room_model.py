"""What the rig's room does to sound: two loudspeakers, one microphone, and planted faults.

Conventions: arrays are (channels, frames) with left first. Input channels are what the
loudspeakers get; output channel 0 is the microphone, channel 1 a wire from the left
loudspeaker's terminals. Frames are counted from `Room.reset`, and a fault's moment within a
sound: sound and fault are found from the input's own samples, so that the same output meets
the same fault however the threads were scheduled.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

LATENCY_FRAMES = 2048
"""From input to output: also what can be dropped, as nothing else lies in store."""

GAP_S = 0.05
"""Silence that ends a sound; a sweep's own zeros are much shorter."""


class Convolver:
    """Uniformly partitioned overlap-save convolution of two channels into one.

    Parameters
    ----------
    responses : ndarray of float, shape (2, n)
        Impulse response from each loudspeaker to the microphone.
    block_size : int
        Frames a call.
    """

    def __init__(self, responses: Float, block_size: int) -> None:
        self._n_partitions = -(-responses.shape[1] // block_size)
        padded = np.zeros((2, self._n_partitions * block_size))
        padded[:, : responses.shape[1]] = responses
        parts = padded.reshape(2, self._n_partitions, block_size)
        self._filters = np.fft.rfft(parts, 2 * block_size)
        self._spectra = np.zeros_like(self._filters)
        self._previous = np.zeros((2, block_size))
        self._n_silent = self._n_partitions + 1

    def __call__(self, block: Float) -> Float:
        """Return the microphone's next frames, shape (block_size,)."""
        self._n_silent = 0 if block.any() else self._n_silent + 1
        if self._n_silent > self._n_partitions:
            return np.zeros(block.shape[1])  # Nothing is on its way; rests cost no time.
        self._spectra[:, 1:] = self._spectra[:, :-1]
        self._spectra[:, 0] = np.fft.rfft(np.concatenate((self._previous, block), axis=1))
        self._previous = block.copy()
        spectrum = np.einsum("spf,spf->f", self._filters, self._spectra)
        return np.fft.irfft(spectrum, 2 * block.shape[1])[block.shape[1] :]


@dataclass(kw_only=True, slots=True)
class Sound:
    """A stretch of output between two silences.

    Attributes
    ----------
    start, end : int
        Its first frame and the one after its last.
    peak : list of float
        Highest magnitude of left and right.
    energy : list of float
        Sum of squares of left and right.
    """

    start: int
    end: int
    peak: list[float] = field(default_factory=lambda: [0.0, 0.0])
    energy: list[float] = field(default_factory=lambda: [0.0, 0.0])


@dataclass(kw_only=True, slots=True)
class Plan:
    """A fault and its moment.

    Attributes
    ----------
    act : callable
        Done with the offset within the block; it changes the room.
    at_frame : int or None
        Frame within a sound; None for the next block.
    nth_sound : int
        The how-manieth sound, from 1, that lasts so long.
    """

    act: Callable[[int], None]
    at_frame: int | None
    nth_sound: int
    _reached: list[int] = field(default_factory=list)

    def offset(self, sounds: list[Sound], first: int, size: int) -> int | None:
        """Return where in the block starting at frame `first` it is due, None if not yet."""
        if self.at_frame is None:
            return 0
        if not sounds or sounds[-1].end <= sounds[-1].start + self.at_frame:
            return None
        if sounds[-1].start not in self._reached:
            self._reached.append(sounds[-1].start)
        if len(self._reached) < self.nth_sound:
            return None
        return min(max(sounds[-1].start + self.at_frame - first, 0), size - 1)


class Room:
    """The room's state, moved on by one block at a time.

    Parameters
    ----------
    responses : ndarray of float, shape (2, n)
    block_size : int
    sample_rate_hz : int
    """

    def __init__(self, responses: Float, block_size: int, sample_rate_hz: int) -> None:
        self._block_size = block_size
        self._gap = max(round(GAP_S * sample_rate_hz), block_size)
        self.responses = responses
        self.noise_rms = 0.0
        self.seed = 0
        self.reset()

    def reset(self) -> None:
        """Forget all sound and faults; noise starts again from its seed."""
        self._convolve = Convolver(self.responses, self._block_size)
        self._random = np.random.default_rng(self.seed)
        self._store = np.zeros((2, LATENCY_FRAMES))
        self._n_drop = self._n_blank = 0
        self._edits: list[tuple[int, Callable[[], None]]] = []
        self.sides = np.eye(2)
        self.gain = 1.0
        self.frame = 0
        self.sounds: list[Sound] = []
        self.plans: list[Plan] = []

    def process(self, heard: Float) -> Float:
        """Take what the loudspeakers play; return what microphone and wire deliver.

        Parameters
        ----------
        heard : ndarray of float, shape (2, block_size)

        Returns
        -------
        ndarray of float, shape (2, block_size)
            The microphone's channel is cut off at full scale, as a converter would.
        """
        self._listen(heard)
        sides, gain = np.empty_like(heard), np.empty(heard.shape[1])
        self._edits.clear()
        sides[:], gain[:] = self.sides @ heard, self.gain
        for offset, plan in self._due(heard.shape[1]):
            plan.act(offset)
            sides[:, offset:], gain[offset:] = self.sides @ heard[:, offset:], self.gain
        microphone = self._convolve(sides)
        if self.noise_rms:
            microphone = microphone + self.noise_rms * self._random.standard_normal(len(gain))
        stream = np.stack((np.clip(gain * microphone, -1, 1), heard[0]))
        self.frame += heard.shape[1]
        return self._deliver(stream)

    def drop(self, n_frames: int, offset: int) -> None:
        """Let frames vanish on the way in: what follows is early by so much."""
        self._edits.append((offset, lambda: setattr(self, "_n_drop", n_frames)))

    def blank(self, n_frames: int, offset: int) -> None:
        """Put zeros in the place of frames."""
        self._edits.append((offset, lambda: setattr(self, "_n_blank", n_frames)))

    def amplify(self, factor: float, _offset: int) -> None:
        """Set the microphone's gain."""
        self.gain = factor

    def wire(self, matrix: Float, _offset: int) -> None:
        """Change the wiring from here on."""
        self.sides = matrix @ self.sides

    def _due(self, size: int) -> list[tuple[int, Plan]]:
        """Take out the plans whose moment lies in this block, first come first."""
        offsets = [(plan.offset(self.sounds, self.frame, size), plan) for plan in self.plans]
        due = [(offset, plan) for offset, plan in offsets if offset is not None]
        self.plans = [plan for offset, plan in offsets if offset is None]
        return sorted(due, key=lambda pair: pair[0])

    def _listen(self, heard: Float) -> None:
        """Keep account of the sounds that arrived."""
        loud = np.flatnonzero(np.any(heard != 0, axis=0))
        if not loud.size:
            return
        first, last = self.frame + int(loud[0]), self.frame + int(loud[-1])
        if not self.sounds or first - self.sounds[-1].end > self._gap:
            self.sounds.append(Sound(start=first, end=first))
        sound = self.sounds[-1]
        sound.end = last + 1
        sound.peak = np.maximum(sound.peak, np.abs(heard).max(axis=1)).tolist()
        sound.energy = (np.asarray(sound.energy) + np.sum(heard**2, axis=1)).tolist()

    def _deliver(self, stream: Float) -> Float:
        """Put the block in store, with its losses, and take the oldest frames out."""
        cuts = [offset for offset, _ in self._edits]
        edits = [lambda: None, *(begin for _, begin in self._edits)]
        kept = [self._store]
        for piece, begin in zip(np.split(stream, cuts, axis=1), edits, strict=True):
            begin()
            n_drop = min(self._n_drop, piece.shape[1])
            self._n_drop -= n_drop
            rest = piece[:, n_drop:].copy()
            n_blank = min(self._n_blank, rest.shape[1])
            self._n_blank -= n_blank
            rest[:, :n_blank] = 0
            kept.append(rest)
        stored = np.concatenate(kept, axis=1)
        self._store = stored[:, stream.shape[1] :]
        return stored[:, : stream.shape[1]]
