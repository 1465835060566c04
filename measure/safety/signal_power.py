"""How strong a signal is where it can hurt: over a moment, below 10 Hz, above 2 kHz.

Conventions: axes (channel, time), full scale 1. A *mean square* is in full-scale squared
(FS²), a sine at full scale having 0.5; an *energy* is its integral over time, in
full-scale squared seconds (FS² s). All of it errs on the high side, by what is said.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Float32 = NDArray[np.float32]

BLOCK_S: Final = 0.002
"""Moments are looked for in steps of this; a fiftieth of the shortest."""

INFRASONIC_HZ: Final = 10.0
"""Below it no loudspeaker for a room plays, but its cone moves."""

INFRASONIC_RATE_HZ: Final = 4000
"""Means over blocks stand for the samples at this rate. What lies within 10 Hz of it or of
its multiples leaks in, 52 dB down (a block's mean at 3990 Hz; closed form)."""

TREBLE_HZ: Final = 2000.0
"""Tweeters take over from about here up (common practice, no source)."""

FRAME_S: Final = 0.025
"""What lies above 2 kHz is told apart in frames this long. Their edges spread a tone: 2 % of
one at 2.1 kHz falls below, 0.2 % of one at 100 Hz above (closed form)."""

_FRAMES_AT_ONCE: Final = 1024


def highest_mean_square(samples: Float32, *, sample_rate_hz: int, window_s: float) -> float:
    """Return the largest mean square of a channel over any window of some length.

    Parameters
    ----------
    samples : ndarray of float32, shape (n_channels, n)
        Silence is assumed before and after.
    sample_rate_hz : int
    window_s : float
        At least ``BLOCK_S``.

    Returns
    -------
    float
        In FS², too high by at most ``BLOCK_S / window_s`` of itself.
    """
    n_block = max(round(BLOCK_S * sample_rate_hz), 1)
    energies = _block_energies(samples, n_block)
    # A window that starts inside a block reaches into one block more.
    n_blocks = math.ceil(window_s * sample_rate_hz / n_block) + 1
    return float(sliding_sums(energies, n_blocks).max()) / (window_s * sample_rate_hz)


def infrasonic_mean_square(samples: Float32, *, sample_rate_hz: int) -> float:
    """Return the largest mean square over any second of what lies below 10 Hz, DC included.

    Parameters
    ----------
    samples : ndarray of float32, shape (n_channels, n)
        Silence is assumed before and after.
    sample_rate_hz : int

    Returns
    -------
    float
        In FS².

    Notes
    -----
    Everything from 10 Hz up is set to zero in one spectrum of the whole signal with 2 s of
    silence after it, so that its end doesn't wrap around to its start.
    """
    n_block = max(sample_rate_hz // INFRASONIC_RATE_HZ, 1)
    rate_hz = sample_rate_hz / n_block
    means = _padded(samples, n_block).mean(axis=2, dtype=np.float64)
    n_long = 1 << math.ceil(math.log2(means.shape[1] + 2 * rate_hz))
    n_kept = math.ceil(INFRASONIC_HZ * n_long / rate_hz)
    spectrum = np.fft.rfft(means, n_long)[:, :n_kept]
    n_short = 4 * n_kept
    slow = np.fft.irfft(spectrum, n_short) * (n_short / n_long)
    n_second = math.floor(rate_hz * n_short / n_long)
    return float(sliding_sums(slow**2, n_second).max()) / n_second


def treble_energy(samples: Float32, *, sample_rate_hz: int) -> Float:
    """Return the energy above 2 kHz in each frame.

    Parameters
    ----------
    samples : ndarray of float32, shape (n_channels, n)
    sample_rate_hz : int

    Returns
    -------
    ndarray, shape (n_channels, n_frames)
        In FS² s; frames follow each other every ``frame_length(sample_rate_hz)`` samples.

    Notes
    -----
    By Parseval's theorem: twice the sum of the squared magnitudes of a frame's bins from
    2 kHz up, over the number of samples in the frame and the sampling frequency.
    """
    n_frame = frame_length(sample_rate_hz)
    first_bin = math.floor(TREBLE_HZ * n_frame / sample_rate_hz)
    frames = _padded(samples, n_frame)
    energies = np.zeros(frames.shape[:2])
    for channel in range(frames.shape[0]):
        sounding = np.flatnonzero(frames[channel].any(axis=1))
        for start in range(0, sounding.size, _FRAMES_AT_ONCE):
            some = sounding[start : start + _FRAMES_AT_ONCE]
            bins = np.fft.rfft(frames[channel, some])[:, first_bin:]
            power = np.square(bins.real).sum(axis=1) + np.square(bins.imag).sum(axis=1)
            energies[channel, some] = power * (2 / (n_frame * sample_rate_hz))
    return energies


def frame_length(sample_rate_hz: int) -> int:
    """Return how many samples a frame of `treble_energy` has."""
    return round(FRAME_S * sample_rate_hz)


def sliding_sums(values: Float, n_window: int) -> Float:
    """Return the sum over every window, those that reach beyond either end included.

    Parameters
    ----------
    values : ndarray, shape (..., n)
    n_window : int

    Returns
    -------
    ndarray, shape (..., n + n_window - 1)
    """
    edges = [(0, 0)] * (values.ndim - 1) + [(n_window, n_window - 1)]
    sums = np.cumsum(np.pad(values, edges), axis=-1)
    return np.asarray(sums[..., n_window:] - sums[..., :-n_window])


def _block_energies(samples: Float32, n_block: int) -> Float:
    """Return the sum of squares in each block."""
    blocks = _padded(samples, n_block)
    return np.asarray(np.einsum("cbn,cbn->cb", blocks, blocks), dtype=np.float64)


def _padded(samples: Float32, n_block: int) -> Float32:
    """Return the samples in blocks, the last one filled up with silence; a copy only then."""
    n_more = -samples.shape[1] % n_block
    if n_more:
        samples = np.pad(samples, ((0, 0), (0, n_more)))
    return samples.reshape(samples.shape[0], -1, n_block)
