"""Likely causes of the peaks and dips of a bass curve.

Conventions: those of `analysis.room.room`, `analysis.room.modes` and
`analysis.room.prediction`. Every cause has a score from 0 to 1, the product of the parts that
are kept beside it; scores rank the causes of one feature, they aren't probabilities.
`analysis.bass.causes.peaks` and `analysis.bass.causes.dips` say what can be one,
`analysis.bass.causes.cause` within which limits. Where nothing fits, the cause is
``unexplained``.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.bass.causes.cause import LEAST_SCORE, MOST_CAUSES, Cause, FeatureLike
from analysis.bass.causes.dips import causes_of_dips
from analysis.bass.causes.peaks import causes_of_peaks
from analysis.room.prediction import Curve, Prediction

__all__ = ["Cause", "attribute_causes"]


def attribute_causes(
    features: Sequence[FeatureLike], prediction: Prediction, curve: Curve
) -> tuple[tuple[Cause, ...], ...]:
    """Return the ranked likely causes of each feature of a bass curve.

    Parameters
    ----------
    features : sequence of Feature
        Of one curve; all of them, since peaks are compared with their neighbours.
    curve : {"left", "right", "both"}
        Which loudspeakers played.

    Returns
    -------
    tuple of tuple of Cause
        One a feature, in their order; likeliest first, never empty.
    """
    peaks = [feature for feature in features if feature.kind == "peak"]
    dips = [feature for feature in features if feature.kind == "dip"]
    of_peak = iter(causes_of_peaks(peaks, prediction, curve))
    of_dip = iter(causes_of_dips(dips, prediction, curve))
    return tuple(
        _rank_causes(feature, next(of_peak if feature.kind == "peak" else of_dip))
        for feature in features
    )


def _rank_causes(feature: FeatureLike, causes: Sequence[Cause]) -> tuple[Cause, ...]:
    """Return the causes worth listing, likeliest first."""
    kept = sorted(
        (one for one in causes if one.score >= LEAST_SCORE), key=lambda one: one.score, reverse=True
    )
    return tuple(kept[:MOST_CAUSES]) or (
        Cause(cause="unexplained", frequency_hz=feature.frequency_hz, score=0.0, parts={}),
    )
