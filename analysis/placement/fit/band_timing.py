"""How left and right lie to each other in time in each band, from impulse responses.

Conventions: those of `analysis.placement.band_levels` and `analysis.signals.impulse_response`:
both responses share one time axis. Each is seen through its own window of the bass curve
(`analysis.bass.curve`): flat, the last quarter falling.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from scipy import fft

from analysis.basics.arrays import Complex, Float
from analysis.bass.curve import FADE_SHARE
from analysis.placement.band_levels import CENTRES_HZ, FREQUENCY_HZ, PER_BAND, band_coherence
from analysis.signals.impulse_response import ImpulseResponse

SPACING_HZ: Final = 0.05
"""Distance of the bins of which the nearest is taken: half of it turns the phase of what
comes 0.5 s late by 5 degrees, left and right alike."""


def response_coherence(
    left: ImpulseResponse,
    right: ImpulseResponse,
    *,
    left_window_s: tuple[float, float],
    right_window_s: tuple[float, float],
) -> Complex:
    """Return the complex coherence of left and right in bands.

    Parameters
    ----------
    left, right : ImpulseResponse
        At one rate, on one time axis.
    left_window_s, right_window_s : tuple of float
        First and last moment of each window.

    Returns
    -------
    ndarray of complex, shape (19,)
        NaN where a band isn't wholly swept, or has a gap.

    Raises
    ------
    ValueError
        If the rates differ.
    """
    if left.sample_rate_hz != right.sample_rate_hz:
        msg = f"left {left.sample_rate_hz} and right {right.sample_rate_hz} Hz must be alike"
        raise ValueError(msg)
    # The time of the first sample turns both spectra alike unless the two begin apart.
    apart_s = left.start_s - right.start_s
    one = _windowed_spectrum(left, left_window_s) * np.exp(-2j * np.pi * FREQUENCY_HZ * apart_s)
    coherence = band_coherence(one, _windowed_spectrum(right, right_window_s))
    known = _covered_bands(left) & _covered_bands(right)
    return np.asarray(np.where(known, coherence, np.nan + 0j))


def _windowed_spectrum(response: ImpulseResponse, window_s: tuple[float, float]) -> Complex:
    """Return the spectrum of what a window shows, at `FREQUENCY_HZ`, from the first sample."""
    rate_hz = response.sample_rate_hz
    time_s = response.start_s + np.arange(response.samples.size) / rate_hz
    n_fft = fft.next_fast_len(max(response.samples.size, math.ceil(rate_hz / SPACING_HZ)))
    bins = fft.rfft(response.samples * _fading_window(time_s, window_s), n_fft)
    return np.asarray(bins[np.round(FREQUENCY_HZ * n_fft / rate_hz).astype(int)])


def _fading_window(time_s: Float, window_s: tuple[float, float]) -> Float:
    """Return a window: flat, its last part falling as half a Hann window."""
    start_s, stop_s = window_s
    fade_s = FADE_SHARE * (stop_s - start_s)
    share = np.clip((time_s - (stop_s - fade_s)) / fade_s, 0, 1)
    return np.asarray(np.where(time_s >= start_s, 0.5 + 0.5 * np.cos(np.pi * share), 0.0))


def _covered_bands(response: ImpulseResponse) -> np.ndarray:
    """Return which bands a response covers, shape (19,)."""
    inside = (response.band_hz[0] <= FREQUENCY_HZ) & (response.band_hz[1] >= FREQUENCY_HZ)
    for low_hz, high_hz in response.gaps_hz:
        inside &= (low_hz > FREQUENCY_HZ) | (high_hz < FREQUENCY_HZ)
    return np.asarray(inside.reshape(CENTRES_HZ.size, PER_BAND).all(axis=1))
