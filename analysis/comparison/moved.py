"""Which loudspeaker was moved between two readings, told from their early reflections.

Conventions: `moved` is ``left``, ``right``, ``both``, ``none``, ``seat`` or ``unknown``.

A loudspeaker that stayed sends the same direct sound and early reflections again, but for
a delay and a gain. What of one response a delayed and scaled copy of the other doesn't
explain is its *residual*, over the first ``WINDOW_S`` from 200 Hz to 2 kHz. A moved
loudspeaker changes every reflection's delay against the direct sound and leaves a residual;
so does a moved seat, but on both sides.
"""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np
from scipy import fft

from analysis.basics.arrays import Float
from analysis.signals.delay import estimate_delay
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import first_arrival_s

Moved = Literal["left", "right", "both", "none", "seat", "unknown"]

WINDOW_S: Final = 10e-3
"""From the arrival: the first reflections of floor, ceiling and side walls. Later, a
kelvin of temperature changes as much as a move."""

LEAD_S: Final = 2e-3

BAND_HZ: Final = (200.0, 2000.0)

SAME_DB: Final = -40.0
"""Nothing moved where both residuals are below: a millimetre leaves about -37 dB (12 mm
left -15 dB in a simulated room, and the residual grows with the square)."""

STAYED_DB: Final = -27.0
"""A loudspeaker that stayed may have this at most: two kelvin leave some -30 dB (0.36 % of
5 ms is 18 us, 0.06 rad at 500 Hz)."""

CHANGED_DB: Final = -18.0
"""Above it a loudspeaker or the seat did move."""

CONTRAST_DB: Final = 10.0
"""One loudspeaker alone moved if its residual exceeds the other's by this: what
temperature leaves is alike on both sides."""

NOISE_SHARE: Final = 0.3
"""The noise's share of the residual is known to about this, as a share of it."""


def residual_db(before: ImpulseResponse, after: ImpulseResponse) -> float | None:
    """Return what a delayed and scaled copy leaves unexplained, in dB, noise taken off.

    Parameters
    ----------
    before, after : ImpulseResponse
        Of one loudspeaker, with one sampling frequency.

    Returns
    -------
    float or None
        At most 0; -60 where nothing is left. None where noise could leave as much as a
        loudspeaker that moved.
    """
    first, second = _early_part(before), _early_part(after)
    match = estimate_delay(first, second, sample_rate_hz=before.sample_rate_hz)
    noise = sum(
        _noise_energy(response) / max(float(np.sum(early**2)), 1e-300)
        for response, early in ((before, first), (after, second))
    )
    left_over = 1 - max(match.coherence, 0.0) ** 2 - noise
    if NOISE_SHARE * noise > 10 ** (STAYED_DB / 10):
        return None
    return 10 * math.log10(max(left_over, NOISE_SHARE * noise, 1e-6))


def infer_moved(left_residual_db: float | None, right_residual_db: float | None) -> Moved:
    """Return which loudspeaker moved, from both residuals.

    Returns
    -------
    str
        ``both`` may also be a moved seat; ``unknown`` where the residuals don't tell.
    """
    if left_residual_db is None or right_residual_db is None:
        return "unknown"
    contrast_db = left_residual_db - right_residual_db
    largest_db = max(left_residual_db, right_residual_db)
    smallest_db = min(left_residual_db, right_residual_db)
    if largest_db <= SAME_DB:
        return "none"
    if abs(contrast_db) >= CONTRAST_DB:
        return "left" if contrast_db > 0 else "right"
    if largest_db <= STAYED_DB:
        return "none"
    return "both" if smallest_db > CHANGED_DB else "unknown"


def _early_part(response: ImpulseResponse) -> Float:
    """Return the band-limited first part of a response, faded at both ends."""
    rate_hz = response.sample_rate_hz
    limited = _band_limited(response.samples, rate_hz)
    first = round((first_arrival_s(response) - LEAD_S - response.start_s) * rate_hz)
    n = round((LEAD_S + WINDOW_S) * rate_hz)
    index = first + np.arange(n)
    inside = (index >= 0) & (index < limited.size)
    cut = np.where(inside, limited[np.clip(index, 0, limited.size - 1)], 0.0)
    return cut * _fading_window(n)


def _fading_window(n: int) -> Float:
    """Return a window that opens over its first and closes over its last sixth."""
    edge = np.minimum(np.arange(n), np.arange(n)[::-1]) / (n / 6)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.minimum(edge, 1)))


def _band_limited(samples: Float, rate_hz: float) -> Float:
    """Return the samples within the band, with edges of a third of an octave."""
    n_fft = fft.next_fast_len(samples.size + round(0.02 * rate_hz), real=True)
    octave = np.log2(np.maximum(fft.rfftfreq(n_fft, 1 / rate_hz), 1.0))
    edge = 1 / 3
    rise = np.clip((octave - math.log2(BAND_HZ[0])) / edge + 0.5, 0, 1)
    fall = np.clip((math.log2(BAND_HZ[1]) - octave) / edge + 0.5, 0, 1)
    mask = np.sin(np.pi / 2 * rise * fall) ** 2
    return np.asarray(fft.irfft(mask * fft.rfft(samples, n_fft), n_fft)[: samples.size])


def _noise_energy(response: ImpulseResponse) -> float:
    """Return the expected energy of the noise in the early part."""
    if response.noise.size == 0:
        return 0.0
    rate_hz = response.sample_rate_hz
    power = float(np.mean(_band_limited(response.noise, rate_hz) ** 2))
    return power * float(np.sum(_fading_window(round((LEAD_S + WINDOW_S) * rate_hz)) ** 2))
