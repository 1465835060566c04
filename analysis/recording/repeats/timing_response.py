"""The response of each pass by which it is compared with the others of its side.

Conventions: as in `analysis.signals.deconvolution`; the stretch begins ``BEFORE_S`` before the
strongest arrival.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.recording.disturbance.detection import N_HARMONICS
from analysis.signals.deconvolution import LEAD_S, InverseSweep
from analysis.signals.programme import Programme

TIMING_BAND_HZ = (250.0, 14_000.0)
"""Passes are timed over this band: clear of rumble below and of the microphone's and the
air's losses above."""

BEFORE_S, AFTER_S = 0.02, 0.1
NOISE_S, LEAST_NOISE_S = 1.5, 0.5


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class TimingResponse:
    """One pass's response over the timing band.

    Attributes
    ----------
    circular : ndarray, shape (n_fft,)
        From the start of its cut.
    noise : ndarray, shape (m,)
        The part that holds noise and little else.
    """

    circular: Float
    sample_rate_hz: float
    noise: Float

    def start(self, shift: int = 0) -> Float:
        """Return the stretch around the arrival, begun so many samples later."""
        first, last = (
            round((LEAD_S + edge_s) * self.sample_rate_hz) for edge_s in (-BEFORE_S, AFTER_S)
        )
        return np.take(self.circular, np.arange(first, last) + shift, mode="wrap")


def timing_response(
    spectrum: Complex, weighted: Complex, inverse: InverseSweep, programme: Programme
) -> TimingResponse:
    """Return a pass's response, deconvolved by the weighted inverse.

    Parameters
    ----------
    spectrum, weighted : ndarray of complex, shape (n_fft // 2 + 1,)
        Of the pass, and the inverse sweep times `timing_weight`.
    """
    circular = fft.irfft(spectrum * weighted, inverse.n_fft)
    rate_hz = inverse.sample_rate_hz
    start_s, stop_s = noise_only_s(inverse, programme)
    quiet = np.arange(round(start_s * rate_hz), round(stop_s * rate_hz))
    return TimingResponse(
        circular=circular, sample_rate_hz=rate_hz, noise=np.take(circular, quiet, mode="wrap")
    )


def timing_weight(frequency_hz: Float, programme: Programme) -> Float:
    """Return the weight of each frequency in timing the passes, 0 to 1."""
    low_hz, high_hz = _timing_band_hz(programme)
    rise = np.clip(np.log2(np.maximum(frequency_hz, 1) / low_hz) * 2, 0, 1)
    fall = np.clip(np.log2(high_hz / np.maximum(frequency_hz, 1)) * 4, 0, 1)
    return np.asarray(rise * fall)


def full_weight_band_hz(programme: Programme) -> tuple[float, float]:
    """Return the band over which `timing_weight` is 1."""
    low_hz, high_hz = _timing_band_hz(programme)
    return low_hz * 2**0.5, high_hz / 2**0.25


def _timing_band_hz(programme: Programme) -> tuple[float, float]:
    """Return where the timing weight begins and ends."""
    sweep = programme.sweep
    high_hz = min(TIMING_BAND_HZ[1], 0.8 * sweep.stop_hz)
    return max(min(TIMING_BAND_HZ[0], high_hz / 4), 1.5 * sweep.start_hz), high_hz


def noise_only_s(inverse: InverseSweep, programme: Programme) -> tuple[float, float]:
    """Return the stretch of the circular response that holds noise and little else."""
    sweep = programme.sweep
    order = min(float(N_HARMONICS), sweep.stop_hz / sweep.start_hz)
    length_s = inverse.n_fft / inverse.sample_rate_hz
    decayed_s = programme.tail_s + LEAD_S
    stop_s = length_s - sweep.growth_s * np.log(order) - 0.1
    start_s = max(decayed_s, stop_s - NOISE_S)
    if stop_s - start_s < LEAST_NOISE_S:
        # A sweep of few octaves leaves no noise before its harmonics: the end of the decay.
        start_s = max(LEAD_S, decayed_s - LEAST_NOISE_S)
        stop_s = start_s + LEAST_NOISE_S
    return start_s, float(stop_s)
