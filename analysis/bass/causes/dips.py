"""What may be behind the dips of a bass curve: two modes, or one surface.

Conventions: those of `analysis.bass.causes.cause`. A dip is put down

- to two modes that cancel there, where the modal sum has a dip within the uncertainty.
  Two modes of like coupling cancel between their frequencies. A node is no cause of a
  dip by itself: it takes one mode away and leaves the others. The score is the product
  of *fit*, of *depth*, what the predicted dip takes from the power sum of the modes, of
  *share*, what the two supply of that sum, and of *rarity*, the chance that no predicted
  dip falls so near by accident;
- to the reflection from one surface. The score is the product of *fit* and of *depth*,
  what the cancellation takes from the mean square at the seat once the reverberant
  sound of the rest of the room is counted: in a live room that sound fills the dip.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis.basics.arrays import Complex, Float
from analysis.bass.causes.cause import (
    REFLECTIONS_STD,
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
from analysis.room.reflections import Cancellation, power_taken


def causes_of_dips(
    dips: Sequence[FeatureLike], prediction: Prediction, curve: Curve
) -> list[list[Cause]]:
    """Return the pair of modes and the surfaces that fit each dip, in no order.

    Parameters
    ----------
    dips : sequence of Feature
        Dips of one curve.
    curve : {"left", "right", "both"}

    Returns
    -------
    list of list of Cause
        One list a dip, possibly empty.
    """
    predicted_hz = predicted_dips_hz(prediction, curve)
    terms = modal_terms(prediction, curve, predicted_hz)
    candidates = candidate_modes(prediction, curve)
    causes = []
    for dip in dips:
        found = _boundary_causes_of_dip(dip, prediction, curve)
        if predicted_hz.size:
            nearest = int(np.argmin(np.abs(predicted_hz - dip.frequency_hz)))
            pair = _mode_pair_of_dip(
                dip, prediction, curve, predicted_hz, nearest, terms[nearest], candidates
            )
            found += [] if pair is None else [pair]
        causes.append(found)
    return causes


def predicted_dips_hz(prediction: Prediction, curve: Curve) -> Float:
    """Return where the modal sum of a curve has a local minimum, interpolated, in Hz."""
    power = np.abs(prediction.response[curve]) ** 2
    low, at, high = power[:-2], power[1:-1], power[2:]
    where = np.flatnonzero((at < low) & (at <= high))
    bend = low[where] - 2 * at[where] + high[where]
    shift = 0.5 * (low[where] - high[where]) / bend
    step_hz = prediction.frequency_hz[1] - prediction.frequency_hz[0]
    return np.asarray(prediction.frequency_hz[where + 1] + shift * step_hz)


def _mode_pair_of_dip(
    dip: FeatureLike,
    prediction: Prediction,
    curve: Curve,
    predicted_hz: Float,
    nearest: int,
    terms: Complex,
    candidates: Mask,
) -> Cause | None:
    """Return the two modes whose cancellation fits a dip, `terms` those at the predicted one."""
    std_hz = mode_std_hz(dip, prediction)
    at_hz = float(predicted_hz[nearest])
    distance_hz = at_hz - dip.frequency_hz
    fit = frequency_fit(distance_hz, std_hz)
    powers = np.abs(terms) ** 2
    depth = 1 - float(np.abs(terms.sum()) ** 2 / powers.sum())
    pair = _strongest_opposed(terms, candidates)
    if fit == 0 or depth <= 0 or pair is None:
        return None
    mode_hz = [0.0 if k == 0 else float(prediction.modes.frequency_hz[k - 1]) for k in pair]
    # The uniform pressure is never the nearer one: it has no place to move to.
    near, far = sorted(range(2), key=lambda i: abs(mode_hz[i] - at_hz) if pair[i] else math.inf)
    rarity = _chance_of_no_accident(dip.frequency_hz, math.hypot(distance_hz, std_hz), predicted_hz)
    share = float((powers[pair[0]] + powers[pair[1]]) / powers.sum())
    k = pair[near] - 1
    parts = {
        "predicted_dip_hz": at_hz,
        "partner_hz": mode_hz[far],
        "distance_hz": distance_hz,
        "std_hz": std_hz,
        "fit": fit,
        "depth": depth,
        "share": share,
        "rarity": rarity,
        "coupling_loudspeaker": float(prediction.drives[curve][k]),
        "coupling_seat": float(prediction.seat_shape[k]),
    }
    score = fit * depth * share * rarity
    return mode_cause(prediction, k, score=score, parts=parts, partner=pair[far] - 1)


def _strongest_opposed(terms: Complex, candidates: Mask) -> tuple[int, int] | None:
    """Return the strongest terms of either sign, neither of a mode with a node.

    Away from resonance all terms lie along one line in the complex plane; the line is
    that of the largest sum of squares.
    """
    along = np.real(terms * np.exp(-0.5j * np.angle(np.sum(terms**2))))
    along = np.where(np.concatenate(([True], candidates)), along, 0.0)
    strongest, weakest = int(np.argmax(along)), int(np.argmin(along))
    if along[strongest] <= 0 or along[weakest] >= 0:
        return None
    return strongest, weakest


def _chance_of_no_accident(frequency_hz: float, reach_hz: float, dips_hz: Float) -> float:
    """Return the chance that no predicted dip lies within reach by accident.

    The predicted dips of the octave around the feature are taken as strewn at random.
    """
    low_hz, high_hz = frequency_hz / math.sqrt(2), frequency_hz * math.sqrt(2)
    n_dips = np.count_nonzero((dips_hz > low_hz) & (dips_hz < high_hz))
    return math.exp(-2 * reach_hz * n_dips / (high_hz - low_hz))


def _boundary_causes_of_dip(dip: FeatureLike, prediction: Prediction, curve: Curve) -> list[Cause]:
    """Return the cancellations that fit a dip, the better one where two loudspeakers have it."""
    best: dict[tuple[str, int], Cause] = {}
    for one in prediction.cancellations[curve]:
        cause = _boundary_cause(dip, one, prediction, curve)
        key = (one.surface, one.order)
        if cause is not None and (key not in best or cause.score > best[key].score):
            best[key] = cause
    return list(best.values())


def _boundary_cause(
    dip: FeatureLike, one: Cancellation, prediction: Prediction, curve: Curve
) -> Cause | None:
    """Return a cancellation as the cause of a dip, if it lies near enough."""
    std_hz = math.hypot(
        dip.frequency_std_hz, one.frequency_std_hz, REFLECTIONS_STD * one.frequency_hz
    )
    distance_hz = one.frequency_hz - dip.frequency_hz
    fit = frequency_fit(distance_hz, std_hz)
    if fit == 0:
        return None
    depth = power_taken(
        prediction.reflections_by(one.surface, curve),
        frequency_hz=one.frequency_hz,
        speed_of_sound_m_s=prediction.air.speed_of_sound_m_s,
        mean_absorption=prediction.mean_absorption,
        surface_m2=prediction.room.surface_m2,
    )
    parts = {
        "distance_hz": distance_hz,
        "std_hz": std_hz,
        "fit": fit,
        "depth": depth,
        "order": float(one.order),
        "extra_path_m": one.extra_path_m,
        "depth_alone_db": one.depth_db,
    }
    at_hz, score = one.frequency_hz, fit * max(depth, 0.0)
    return Cause(
        cause="boundary", frequency_hz=at_hz, surface=one.surface, score=score, parts=parts
    )
