"""Which modes may be behind the peaks of a bass curve.

Conventions: those of `analysis.bass.causes.cause`. A mode is considered where it lies within the
frequency uncertainty of the peak and couples at the loudspeakers that play *and* at the
seat. Its score is the product of

- *fit* of the frequencies,
- *share* of the predicted pressure at the peak's frequency that the mode supplies: the
  projection of its term of the modal sum on the sum, so a mode that works against the
  peak has none,
- *ringing* of the peak against its neighbours: a mode rings on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis.basics.arrays import Complex
from analysis.bass.causes.cause import (
    LEAST_SCORE,
    NEIGHBOUR_OCTAVES,
    WINDOW_SIGMAS,
    Cause,
    FeatureLike,
    Mask,
    candidate_modes,
    frequency_fit,
    modal_terms,
    mode_cause,
    mode_std_hz,
)
from analysis.room.prediction import Curve, Prediction


def causes_of_peaks(
    peaks: Sequence[FeatureLike], prediction: Prediction, curve: Curve
) -> list[list[Cause]]:
    """Return the modes that fit each peak, in no order.

    Parameters
    ----------
    peaks : sequence of Feature
        All peaks of one curve, since they are compared with each other.
    curve : {"left", "right", "both"}

    Returns
    -------
    list of list of Cause
        One list a peak, possibly empty.
    """
    at_hz = np.array([peak.frequency_hz for peak in peaks], dtype=np.float64)
    terms = modal_terms(prediction, curve, at_hz)
    candidates = candidate_modes(prediction, curve)
    return [
        _mode_causes_of_peak(peak, prediction, curve, row, candidates, rings)
        for peak, row, rings in zip(peaks, terms, relative_ringing(peaks), strict=True)
    ]


def relative_ringing(peaks: Sequence[FeatureLike]) -> list[float]:
    """Return for each peak r / (1 + r), with r its decay over the median of its neighbours'.

    Parameters
    ----------
    peaks : sequence of Feature

    Returns
    -------
    list of float
        0 to 1; one half where a peak rings like them, and where it can't be told.
    """
    known = [(peak.frequency_hz, peak.decay_s) for peak in peaks if peak.decay_s is not None]
    result = []
    for peak in peaks:
        near = [
            decay_s
            for frequency_hz, decay_s in known
            if 0 < abs(math.log2(frequency_hz / peak.frequency_hz)) <= NEIGHBOUR_OCTAVES
        ]
        if peak.decay_s is None or not near:
            result.append(0.5)
        else:
            result.append(peak.decay_s / (peak.decay_s + float(np.median(near))))
    return result


def _mode_causes_of_peak(
    peak: FeatureLike,
    prediction: Prediction,
    curve: Curve,
    terms: Complex,
    candidates: Mask,
    rings: float,
) -> list[Cause]:
    """Return the modes that fit one peak, `terms` those of the modal sum at its frequency."""
    total = terms.sum()
    share = np.clip((terms[1:] * np.conj(total)).real / np.abs(total) ** 2, 0.0, 1.0)
    std_hz = mode_std_hz(peak, prediction)
    ends_hz = peak.frequency_hz + WINDOW_SIGMAS * std_hz * np.array([-1.0, 1.0])
    first, end = np.searchsorted(prediction.modes.frequency_hz, ends_hz).tolist()
    near = [k for k in range(first, end) if candidates[k]]
    causes = []
    for k in near:
        distance_hz = float(prediction.modes.frequency_hz[k]) - peak.frequency_hz
        fit = frequency_fit(distance_hz, std_hz)
        score = fit * float(share[k]) * rings
        if score < LEAST_SCORE:
            continue
        parts = {
            "distance_hz": distance_hz,
            "std_hz": std_hz,
            "fit": fit,
            "coupling_loudspeaker": float(prediction.drives[curve][k]),
            "coupling_seat": float(prediction.seat_shape[k]),
            "share": float(share[k]),
            "ringing": rings,
            "n_modes_in_window": float(len(near)),
        }
        causes.append(mode_cause(prediction, k, score=score, parts=parts))
    return causes
