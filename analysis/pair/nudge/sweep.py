"""One sweep of the nudge pattern as the microphone heard it.

Conventions: *lag* is recorder seconds since the recorder's first sample less player seconds
since the player's first: the unknown latency and the sound's travel. All sweeps share the
lag axis, so a side that stands still keeps its lag but for the clocks' drift.

A sweep is cut from the recording with a little before and after, and divided by what was
played, at the nominal clock: 300 ppm of clock difference delay the treble by some
microseconds against the middle, on both sides alike. The cut is short, so the room's later
reverberation and the previous sweep's are noise under the response. The stretch before the
arrival measures it, ending where the sweep's own harmonics fall.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from analysis.basics.arrays import Float
from analysis.pair.gated_pair import GATE_S
from analysis.pair.nudge.pattern import NudgePattern
from analysis.signals.deconvolution import inverse_sweep
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import PRE_S, envelope, first_arrival_s

Recorded = NDArray[np.float64] | NDArray[np.float32]
"""A recording as the device gives it, or as a file does."""

LEAD_S = 0.03
TAIL_S = 0.02
"""Cut this long before and after the expected arrival, besides the sweep."""

NOISE_S = 0.018
"""The noise is taken from so long before the arrival: the second harmonic comes 24 ms
before it (the sweep grows by e in 34 ms)."""

NOISE_ENDS_S = 1e-3
"""It ends so long before the arrival, where the gate hasn't opened."""

MOST_OFF_S = 0.01
"""An arrival farther than this from where it was expected is another sound."""

LEAST_CREST = 8.0
"""The envelope's peak over its median before the arrival. Noise alone peaks at 3 to 4 there;
a sweep no louder than the noise stands above 20."""

CLIPPED_AT = 0.99
"""Share of full scale that no honest sample reaches twice in a row."""


class Fault(StrEnum):
    """Why a sweep gives no response."""

    LOST = "lost"
    """Samples were never delivered."""
    SILENT = "silent"
    """The input holds zeros."""
    CLIPPED = "clipped"
    """The input is too loud."""
    UNHEARD = "unheard"
    """Nothing stands out of the noise where the sweep should be."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class HeardSweep:
    """A sweep's place in the recording and its response.

    Attributes
    ----------
    index : int
        Which of the pattern, from 0.
    fault : Fault or None
        Why there is no response.
    response : ImpulseResponse or None
        On the lag axis, with the noise before it.
    arrival_s : float
        Lag of the first arrival, in seconds; NaN where there is none.
    peak : float
        Largest sample of the cut, full scale 1.
    """

    index: int
    fault: Fault | None
    response: ImpulseResponse | None
    arrival_s: float
    peak: float


def recorded_until_s(pattern: NudgePattern, index: int, lag_s: float) -> float:
    """Return when a sweep is wholly recorded, in recorder seconds."""
    return pattern.start_s(index) + lag_s + pattern.sweep.duration_s + TAIL_S


def hear_sweep(
    samples: Recorded, pattern: NudgePattern, index: int, *, expected_lag_s: float
) -> HeardSweep:
    """Return what became of one sweep.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The recording so far, NaN where nothing was delivered.
    index : int
        Of the sweep.
    expected_lag_s : float
        Where its arrival should be, within 10 ms.
    """
    rate_hz = pattern.sample_rate_hz
    start_s = pattern.start_s(index)
    first = round((start_s + expected_lag_s - LEAD_S) * rate_hz)
    cut = _cut(samples, first, round((LEAD_S + pattern.sweep.duration_s + TAIL_S) * rate_hz))
    fault = _input_fault(cut)
    peak = float(np.max(np.abs(np.nan_to_num(cut))))
    if fault is not None:
        return HeardSweep(index=index, fault=fault, response=None, arrival_s=math.nan, peak=peak)
    response = _deconvolve(cut, pattern, start_lag_s=first / rate_hz - start_s)
    arrival_s = first_arrival_s(response)
    if (
        abs(arrival_s - expected_lag_s) > MOST_OFF_S
        or _arrival_crest(response, arrival_s) < LEAST_CREST
    ):
        return HeardSweep(
            index=index, fault=Fault.UNHEARD, response=None, arrival_s=math.nan, peak=peak
        )
    return HeardSweep(
        index=index,
        fault=None,
        response=_attach_noise(response, arrival_s),
        arrival_s=arrival_s,
        peak=peak,
    )


def _cut(samples: Recorded, first: int, n_cut: int) -> Float:
    """Return a stretch, NaN where the recording doesn't reach."""
    cut = np.full(n_cut, np.nan)
    low, high = max(first, 0), min(first + n_cut, samples.size)
    if low < high:
        cut[low - first : high - first] = samples[low:high]
    return cut


def _input_fault(cut: Float) -> Fault | None:
    """Return what is wrong with the samples themselves."""
    if np.isnan(cut).any():
        return Fault.LOST
    if not cut.any():
        return Fault.SILENT
    loud = np.abs(cut) >= CLIPPED_AT
    return Fault.CLIPPED if (loud[1:] & loud[:-1]).any() else None


def _deconvolve(cut: Float, pattern: NudgePattern, *, start_lag_s: float) -> ImpulseResponse:
    """Return the deconvolved cut, without noise yet."""
    rate_hz = pattern.sample_rate_hz
    # Twice the sweep's length, so that what was there before it doesn't wrap onto the arrival.
    n_fft = fft.next_fast_len(cut.size + round(pattern.sweep.duration_s * rate_hz), real=True)
    inverse = inverse_sweep(pattern.sweep, sample_rate_hz=rate_hz, n_fft=n_fft)
    circular = fft.irfft(fft.rfft(cut, n_fft) * inverse.spectrum, n_fft)
    return ImpulseResponse(
        samples=circular[: round((LEAD_S + TAIL_S) * rate_hz)],
        sample_rate_hz=rate_hz,
        start_s=start_lag_s,
        noise=np.zeros(0),
        band_hz=(pattern.sweep.start_hz, pattern.sweep.stop_hz),
    )


def _arrival_crest(response: ImpulseResponse, arrival_s: float) -> float:
    """Return how far the arrival stands above what comes before it."""
    height = envelope(response)
    at = round((arrival_s - response.start_s) * response.sample_rate_hz)
    before = height[: max(at - round(NOISE_ENDS_S * response.sample_rate_hz), 1)]
    return float(height[at] / (np.median(before) + 1e-300))


def _attach_noise(response: ImpulseResponse, arrival_s: float) -> ImpulseResponse:
    """Return the response with the noise before its arrival, a whole number of gates long."""
    rate_hz = response.sample_rate_hz
    n_gate = math.ceil((PRE_S + GATE_S) * rate_hz) + 2
    last = round((arrival_s - NOISE_ENDS_S - response.start_s) * rate_hz)
    n_noise = min(round(NOISE_S * rate_hz), last) // n_gate * n_gate
    return ImpulseResponse(
        samples=response.samples,
        sample_rate_hz=rate_hz,
        start_s=response.start_s,
        noise=response.samples[last - n_noise : last],
        band_hz=response.band_hz,
    )
