"""What stands on the floor and leaves no room for anything else.

Conventions: those of `analysis.room.room`; a footprint is a rectangle along the axes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.basics.arrays import Float, Mask


@dataclass(frozen=True, kw_only=True, slots=True)
class Footprint:
    """A piece of furniture as seen from above.

    Attributes
    ----------
    x_m, y_m : tuple of float
        From and to, in metres, rising.
    """

    x_m: tuple[float, float]
    y_m: tuple[float, float]

    def __post_init__(self) -> None:
        for name in ("x_m", "y_m"):
            low, high = getattr(self, name)
            if not (math.isfinite(low) and math.isfinite(high) and low < high):
                msg = f"furniture: {name} {[low, high]} must be two rising numbers"
                raise ValueError(msg)

    def covers(self, points_m: Float, *, margin_m: float = 0.0) -> Mask:
        """Return which points, shape (m, 2), lie on it or nearer than a margin."""
        at = np.atleast_2d(points_m)
        low = np.array([self.x_m[0], self.y_m[0]])
        high = np.array([self.x_m[1], self.y_m[1]])
        away = np.maximum(np.maximum(low - at, at - high), 0.0)
        return np.asarray(np.linalg.norm(away, axis=1) <= margin_m)
