"""What a room file foretells, as JSON; ``docs/reading.md`` lists each key with its unit."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.room.modes import Modes
from analysis.room.prediction import Curve, NumberedModes, Prediction
from analysis.room.room import Point

SIDES: Final[tuple[Curve, Curve]] = ("left", "right")


def room_document(prediction: Prediction | None) -> dict[str, Any] | None:
    """Return what the room file foretells, as JSON knows it.

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


def _modes(modes: Modes | NumberedModes, seat: Float) -> list[dict[str, Any]]:
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
