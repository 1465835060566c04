"""Where in a recording the nudge pattern lies, known by its rhythm.

Conventions: lag as in `analysis.pair.nudge.sweep`, known but for whole periods of the pattern.

The recording is compressed by the whitened sweep; its envelope jumps at each arrival, and
decays behind it. Each place in the period is given the jumps at the four starts that follow
from it, each cut off at the same height so that one bang doesn't outweigh a rhythm. No wrong
place meets more than one of the four, so two are enough: those of one loudspeaker.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.pair.nudge.pattern import NudgePattern
from analysis.recording.passes import sweep_phase

BLOCK_S = 1e-3
"""The envelope's raster: an arrival is found to so much, its exact time comes later."""

BAND_HZ = (1500.0, 12_000.0)

BEFORE_S = (0.04, 0.003)
"""A block is compared with the highest of those from so long before it to so long."""

FULL_JUMP = 3.0
"""An arrival counts fully where it is so many times as high as all that before it. Noise seldom
jumps by a half, a sweep that is no louder than the noise by eight."""

HEARD = 0.6
"""Mean jump that the starts of a side must have to count as heard."""

SURE = 1.25
"""The best place must beat any other one by this factor."""

SAME_S = 0.05
"""Places nearer than this are one: reflections follow the arrival. The rhythm's distances are
five times as long."""


@dataclass(frozen=True, kw_only=True, slots=True)
class FoundPattern:
    """The pattern's place.

    Attributes
    ----------
    lag_s : float
        Of the strongest arrivals, to a millisecond or two.
    left, right : bool
        Which sides are heard.
    """

    lag_s: float
    left: bool
    right: bool


def find_pattern(
    samples: Float, pattern: NudgePattern, *, first_s: float = 0.0, near_lag_s: float | None = None
) -> FoundPattern | None:
    """Look for the pattern in a stretch of the recording.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Some one to three seconds; NaN counts as silence.
    first_s : float
        Recorder time of ``samples[0]``, in seconds.
    near_lag_s : float, optional
        The period is so chosen that the lag lies nearest to this; else from a quarter of
        a period before 0 on.

    Returns
    -------
    FoundPattern or None
        None while no rhythm stands out.
    """
    jumps = _envelope_jumps(samples, pattern)
    if jumps.size < 2 or not jumps.any():
        return None
    block_s = _block_frames(pattern) / pattern.sample_rate_hz
    shares = _fold_jumps(jumps, pattern, block_s)
    score = np.nanmean(np.where(np.isnan(shares), 0, shares), axis=0)
    # The band limit and the reflections give equals beside the best.
    first = int(np.argmax(score))
    equal = np.flatnonzero(score[first : first + round(SAME_S / block_s / 2)] == score[first])
    best = first + int(np.median(equal))
    apart = np.abs(np.arange(score.size) - best) * block_s
    rival = score[np.minimum(apart, pattern.period_s - apart) > SAME_S].max(initial=0)
    sides = [_is_side_heard(shares[side::2, best]) for side in (0, 1)]
    if not any(sides) or score[best] < SURE * rival:
        return None
    lag_s = first_s + best * block_s
    low_s = -0.25 * pattern.period_s if near_lag_s is None else near_lag_s - pattern.period_s / 2
    lag_s = low_s + (lag_s - low_s) % pattern.period_s
    return FoundPattern(lag_s=lag_s, left=sides[0], right=sides[1])


def _block_frames(pattern: NudgePattern) -> int:
    return round(BLOCK_S * pattern.sample_rate_hz)


def _is_side_heard(shares: Float) -> bool:
    """Say whether both starts of a side's period, as far as they can be seen, are heard."""
    seen = shares[~np.isnan(shares)]
    return bool(seen.size and seen.mean() >= HEARD)


def _envelope_jumps(samples: Float, pattern: NudgePattern) -> Float:
    """Return how far the envelope jumps in each block, 0 to 1."""
    spectrum, n_fft = _whiten(np.nan_to_num(samples), pattern)
    analytic = np.zeros(n_fft, dtype=np.complex128)
    analytic[: spectrum.size] = spectrum
    n_valid = samples.size - round(pattern.sweep.duration_s * pattern.sample_rate_hz)
    block = _block_frames(pattern)
    n_blocks = max(n_valid, 0) // block
    if n_blocks == 0:
        return np.zeros(0)
    height = np.abs(fft.ifft(analytic))[: n_blocks * block].reshape(n_blocks, block).max(axis=1)
    first, last = (round(before_s / BLOCK_S) for before_s in BEFORE_S)
    padded = np.concatenate((np.full(first, height.max()), height))
    windows = np.lib.stride_tricks.sliding_window_view(padded, first - last + 1)[:n_blocks]
    before = windows.max(axis=1)
    jump = height / np.where(before > 0, before, np.inf)
    return np.asarray(np.clip((jump - 1) / (FULL_JUMP - 1), 0, 1))


def _whiten(samples: Float, pattern: NudgePattern) -> tuple[Complex, int]:
    """Return the spectrum of the recording with the sweep's phase taken out."""
    rate_hz = pattern.sample_rate_hz
    n_fft = fft.next_fast_len(samples.size + round(pattern.sweep.duration_s * rate_hz), real=True)
    spectrum = fft.rfft(samples, n_fft)
    frequency_hz = fft.rfftfreq(n_fft, 1 / rate_hz)
    inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    octave = np.log(frequency_hz[inside] / BAND_HZ[0]) / math.log(BAND_HZ[1] / BAND_HZ[0])
    whitened = np.zeros_like(spectrum)
    whitened[inside] = (
        spectrum[inside]
        * np.sqrt(frequency_hz[inside])
        * np.sin(np.pi * octave) ** 2
        * np.exp(-1j * sweep_phase(pattern.sweep, frequency_hz[inside]))
    )
    return whitened, n_fft


def _fold_jumps(jumps: Float, pattern: NudgePattern, block_s: float) -> Float:
    """Return for each place in the period the mean jump at the four starts.

    Shape (4, n_places); NaN where a start was never within the recording.
    """
    n_places = round(pattern.period_s / block_s)
    near = np.maximum(jumps, np.maximum(np.roll(jumps, 1), np.roll(jumps, -1)))
    shares = np.full((4, n_places), np.nan)
    n_periods = -(-jumps.size // n_places)
    padded = np.full(n_periods * n_places, np.nan)
    padded[: near.size] = near
    folded = padded.reshape(n_periods, n_places)
    seen = ~np.isnan(folded)
    total = np.where(seen, folded, 0).sum(axis=0)
    mean = np.where(seen.any(axis=0), total / np.maximum(seen.sum(axis=0), 1), np.nan)
    for index in range(4):
        shares[index] = np.roll(mean, -round(pattern.start_s(index) / block_s))
    return shares
