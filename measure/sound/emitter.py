"""What goes into a device's output buffer, block by block.

Conventions: `Emitter.fill` is called by the audio callback, everything else by the main
thread. A frame is one sample of every channel, counted from the first one emitted. `fill`
takes no lock and makes no array: it writes through arrays made beforehand, and what the two
threads share are single values and one list that only grows.

Every sound path, real or simulated, plays through this, so that what comes out is capped
once more, sample by sample, whatever went in.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from measure.safety.limits import CAP, SafeSignal

STOP_FADE_S: Final = 0.01
"""A raised cosine from full to nothing."""

APPEND_MARGIN_S: Final = 0.1
"""What is appended starts at least so far ahead of what has been emitted."""

_BLOCK: Final = 4096
"""Longer output is filled in pieces."""

_NEVER: Final = 1 << 62


class Emitter:
    """Fills a device's buffers with safe signals, and with silence around them.

    Parameters
    ----------
    signal : SafeSignal
        Starts at frame 0. Its leave is used up here.
    repeat : bool
        Play it again and again, for as long as it was admitted for.
    channels : (int, int)
        Where left and right go, from 0.
    n_device_channels : int
        How many channels the buffers have; the others stay silent.

    Raises
    ------
    UnsafeError
        If the signal was played before, or admitted too long ago.
    ValueError
        If the channels aren't two of the device's, or a signal that was admitted for once
        shall be repeated.
    """

    def __init__(
        self,
        signal: SafeSignal,
        *,
        repeat: bool = False,
        channels: tuple[int, int] = (0, 1),
        n_device_channels: int = 2,
    ) -> None:
        left, right = channels
        if left == right or not all(0 <= channel < n_device_channels for channel in channels):
            msg = f"channels {channels} must be two different ones below {n_device_channels}"
            raise ValueError(msg)
        if repeat and signal.repeated_s is None:
            msg = "a signal that was admitted for once can't be repeated"
            raise ValueError(msg)
        signal.admission.spend()
        self._rate_hz = signal.sample_rate_hz
        self._channels = channels
        n_fade = round(STOP_FADE_S * self._rate_hz)
        self._fade = np.cos(np.linspace(0, np.pi / 2, n_fade)).astype(np.float32) ** 2
        self._work = np.zeros((2, _BLOCK), dtype=np.float32)
        self._bad = np.zeros((2, _BLOCK), dtype=np.bool_)
        self._loop = signal.samples if repeat else None
        self._items = [] if repeat else [(0, signal.samples)]
        self._end = _NEVER if repeat else signal.samples.shape[1]
        self._item = 0
        self._n_forgotten = 0
        self._begun = False
        self._head = 0
        self._longest = 0
        self._stop_asked = False
        # Repeats end with a fade within the time that they were admitted for.
        end = round(signal.duration_s * self._rate_hz)
        self._stop_at = end - n_fade if repeat else _NEVER

    @property
    def n_frames(self) -> int:
        """How many frames were emitted."""
        return self._head

    @property
    def silent(self) -> bool:
        """Whether only silence comes from here on, unless something is appended."""
        return self._head >= min(self._end, self._stop_at + self._fade.size)

    def append(self, signal: SafeSignal, at_frame: int) -> bool:
        """Add a signal after what is there.

        Parameters
        ----------
        signal : SafeSignal
            Its leave is used up, unless False is returned.
        at_frame : int
            Where it starts.

        Returns
        -------
        bool
            False if that moment is too near or past, or playing was stopped.

        Raises
        ------
        UnsafeError
            If the signal was played before, or will start too long after it was admitted.
        ValueError
            If it would overlap what is there, or has another sampling frequency.
        """
        if signal.sample_rate_hz != self._rate_hz:
            msg = f"a signal at {signal.sample_rate_hz} Hz can't follow one at {self._rate_hz} Hz"
            raise ValueError(msg)
        if at_frame < self._end:
            msg = f"frame {at_frame} lies before the end of what is there, {self._end}"
            raise ValueError(msg)
        head = self._head
        margin = max(math.ceil(APPEND_MARGIN_S * self._rate_hz), 2 * self._longest)
        if self._stop_asked or at_frame < head + margin:
            return False
        signal.admission.spend(lead_s=(at_frame - head) / self._rate_hz)
        self._forget_played()
        self._end = at_frame + signal.samples.shape[1]
        self._items.append((at_frame, signal.samples))
        return True

    def _forget_played(self) -> None:
        """Let go of samples that were played: a long run appends many."""
        # `fill` never looks at an item below this one again.
        for number in range(self._n_forgotten, self._item):
            self._items[number] = (0, self._items[number][1][:, :0].copy())
        self._n_forgotten = self._item

    def stop(self) -> None:
        """Fade out from the next block on, for good."""
        self._stop_asked = True

    def fill(self, out: NDArray[Any]) -> None:
        """Write the next frames; for the audio callback.

        Parameters
        ----------
        out : ndarray of float32, shape (n, n_device_channels)
            Overwritten whole.
        """
        out[...] = 0
        self._longest = max(self._longest, out.shape[0])
        if self._stop_asked:
            self._stop_at = min(self._stop_at, self._head)
        for first in range(0, out.shape[0], _BLOCK):
            self._fill_block(out[first : first + _BLOCK])

    def _fill_block(self, out: NDArray[Any]) -> None:
        """Write at most a block."""
        n_frames = out.shape[0]
        work, bad = self._work[:, :n_frames], self._bad[:, :n_frames]
        work[...] = 0
        if self._loop is None:
            self._copy_items(work)
        else:
            self._copy_loop(work, self._loop)
        self._fade_out(work)
        np.isfinite(work, out=bad)
        np.logical_not(bad, out=bad)
        np.copyto(work, 0, where=bad)
        np.clip(work, -CAP, CAP, out=work)
        for samples, channel in zip(work, self._channels, strict=True):
            out[:, channel] = samples
        self._head += n_frames

    def _copy_items(self, work: NDArray[np.float32]) -> None:
        """Copy what falls into this block; leave out an item whose start was missed."""
        first, last = self._head, self._head + work.shape[1]
        while self._item < len(self._items):
            start, samples = self._items[self._item]
            if start >= last:
                return
            end = start + samples.shape[1]
            self._begun = self._begun or start >= first
            if self._begun:
                here, there = max(start, first), min(end, last)
                work[:, here - first : there - first] = samples[:, here - start : there - start]
                if end > last:
                    return
            self._item += 1
            self._begun = False

    def _copy_loop(self, work: NDArray[np.float32], loop: NDArray[np.float32]) -> None:
        """Copy the loop from where it stands."""
        done = 0
        while done < work.shape[1]:
            at = (self._head + done) % loop.shape[1]
            n_more = min(work.shape[1] - done, loop.shape[1] - at)
            work[:, done : done + n_more] = loop[:, at : at + n_more]
            done += n_more

    def _fade_out(self, work: NDArray[np.float32]) -> None:
        """Apply the stop's fade to this block, and silence after it."""
        first = self._stop_at - self._head
        if first >= work.shape[1]:
            return
        # Before the block's first frame the fade has begun already.
        here, there = max(first, 0), min(max(first + self._fade.size, 0), work.shape[1])
        work[:, here:there] *= self._fade[here - first : there - first]
        work[:, there:] = 0
