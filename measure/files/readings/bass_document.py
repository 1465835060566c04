"""The bass of a reading and the room's prediction of it, as JSON.

``docs/reading.md`` lists each key with its unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from analysis.basics.arrays import Float, Mask
from analysis.bass.bass import Bass, BassSide, ExplainedFeature
from analysis.bass.causes.cause import Cause
from analysis.room.prediction import Curve, PredictedModes, Prediction
from analysis.room.room import Point
from measure.files.output import JsonObject

SIDES: Final[tuple[Curve, Curve]] = ("left", "right")


def bass_document(bass: Bass, spots: Mapping[str, str]) -> JsonObject:
    """Return the bass as JSON knows it.

    Parameters
    ----------
    bass : Bass
    spots : mapping of str to str
        Where the other recordings were made, and their files.

    Returns
    -------
    dict
    """
    return {
        "left": _side(bass.left),
        "right": _side(bass.right),
        "both": _side(bass.both),
        "spots": dict(spots),
    }


def _side(side: BassSide | None) -> JsonObject:
    """Return one curve; empty lists where there is none."""
    if side is None:
        return {
            "frequency_hz": [],
            "level_db": [],
            "sixth_octave_db": [],
            "third_octave_db": [],
            "level_std_db": [],
            "resolution_hz": None,
            "window_s": None,
            "features": [],
            "balance": [],
            "spots": None,
        }
    curve = side.curve
    return {
        "frequency_hz": curve.frequency_hz,
        "level_db": _covered(curve.level_db, curve.covered),
        "sixth_octave_db": _covered(curve.sixth_octave_db, curve.covered),
        "third_octave_db": _covered(curve.third_octave_db, curve.covered),
        "level_std_db": _covered(curve.level_std_db, curve.covered),
        "resolution_hz": curve.resolution_hz,
        "window_s": list(curve.window_s),
        "features": [_feature(one, worst=one in side.worst) for one in side.features],
        "balance": [
            {
                "band_hz": list(band.band_hz),
                "level_db": band.level_db,
                "std_db": band.std_db,
                "reason": band.reason,
            }
            for band in side.balance
        ],
        "spots": None
        if side.position_average is None
        else {
            "n_spots": side.position_average.n_positions,
            "frequency_hz": side.position_average.frequency_hz,
            "level_db": side.position_average.level_db,
            "spread_db": side.position_average.spread_db,
        },
    }


def _covered(values: Float, covered: Mask) -> list[float | None]:
    """Return a curve with None where the sweep gives nothing."""
    return [float(value) if inside else None for value, inside in zip(values, covered, strict=True)]


def _feature(one: ExplainedFeature, *, worst: bool) -> JsonObject:
    """Return one peak or dip."""
    feature = one.feature
    return {
        "kind": feature.kind,
        "frequency_hz": feature.frequency_hz,
        "frequency_std_hz": feature.frequency_std_hz,
        "level_db": feature.level_db,
        "level_std_db": feature.level_std_db,
        "prominence_db": feature.prominence_db,
        "width_hz": feature.width_hz,
        "q": feature.q,
        "decay_s": feature.decay_s,
        "decay_std_s": feature.decay_std_s,
        "n_spots_seen": one.n_positions_seen,
        "worst": worst,
        "causes": [_cause(cause) for cause in one.causes],
    }


def _cause(cause: Cause) -> JsonObject:
    """Return one cause; its indices or its surface where it has them."""
    table: JsonObject = {
        "cause": cause.cause,
        "frequency_hz": cause.frequency_hz,
        "score": cause.score,
        "parts": dict(cause.parts),
        "indices": list(cause.indices) if cause.indices is not None else None,
        "number": cause.number,
        "partner_number": cause.partner_number,
        "loudest_along": cause.loudest_wall,
        "surface": cause.surface,
    }
    if cause.partner_indices is not None:
        table["partner_indices"] = list(cause.partner_indices)
    return table


def room_document(prediction: Prediction | None) -> JsonObject | None:
    """Return what the room file predicts, as JSON knows it.

    Parameters
    ----------
    prediction : Prediction or None

    Returns
    -------
    dict or None
    """
    if prediction is None:
        return None
    return {
        "schroeder_hz": prediction.schroeder_hz,
        "decay_s": prediction.decay_s,
        "decay_is_assumed": prediction.decay_is_assumed,
        "woofers_assumed_at_tweeters": prediction.positions.left.woofer_is_assumed
        or prediction.positions.right.woofer_is_assumed,
        "left_m": _point(prediction.positions.left.tweeter),
        "right_m": _point(prediction.positions.right.tweeter),
        "seat_m": _point(prediction.positions.seat),
        "half_angle_deg": prediction.positions.half_angle_deg,
        "left_minus_right_mm": prediction.positions.left_minus_right_m * 1e3,
        "modes": _modes(prediction.modes, np.abs(prediction.seat_shape)),
        "cancellations": [
            {
                "side": side,
                "surface": one.surface,
                "order": one.order,
                "frequency_hz": one.frequency_hz,
                "frequency_std_hz": one.frequency_std_hz,
                "depth_db": one.depth_db,
            }
            for side in SIDES
            for one in prediction.cancellations[side]
        ],
    }


def _point(point: Point) -> list[float]:
    """Return x, y and z."""
    return [point.x_m, point.y_m, point.z_m]


def _modes(modes: PredictedModes, seat: Float) -> list[JsonObject]:
    """Return the modes up to the curves' end."""
    return [
        {
            "frequency_hz": float(frequency_hz),
            "indices": None
            if modes.indices is None
            else [int(index) for index in modes.indices[k]],
            "kind": modes.kinds[k],
            "seat_shape": float(seat[k]),
        }
        for k, frequency_hz in enumerate(modes.frequency_hz)
    ]
