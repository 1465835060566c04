"""The floor plan of a room: a simple polygon of straight walls.

Conventions: x counts from the left, y from the front, in metres, as in `analysis.room.room`. The
corners stand in order; clockwise or not is both accepted, and kept counter-clockwise as
seen from above with x to the right and y away (the sign of the shoelace sum). Wall ``k``
runs from corner ``k`` to the next. The front wall is the one whose middle has the least y.

References
----------
The shoelace sum and the test of simplicity are those of the library shapely (GEOS).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from analysis.basics.arrays import Float, Mask

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely import Polygon

SIZE_RANGE_M: Final = (1.0, 30.0)
"""Rooms that people listen in at home. A mistyped unit falls outside."""

LEAST_WALL_M: Final = 0.05
"""A shorter wall is a slip of the tape: no bass sees it."""

LEAST_ANGLE_DEG: Final = 15.0
"""A sharper corner is refused: no living room has one, and no good mesh fits in it."""

MOST_CORNERS: Final = 60
"""More is a drawing, not a survey."""

_STRAIGHT: Final = 1e-6
"""Sine of the turn at a corner below which it is none; it is dropped."""


@dataclass(frozen=True, kw_only=True)
class FloorPlan:
    """A simple polygon.

    Attributes
    ----------
    corners_m : tuple of (float, float)
        x and y of each corner in metres, in order, at least three.
    was_clockwise : bool
        Whether they were given the other way round.
    """

    corners_m: tuple[tuple[float, float], ...]
    was_clockwise: bool = field(init=False)

    def __post_init__(self) -> None:
        corners = tuple((float(x), float(y)) for x, y in self.corners_m)
        _require_numbers(corners)
        if len(corners) > 3 and corners[0] == corners[-1]:
            corners = corners[:-1]  # closed by hand: the last corner repeats the first
        _require_distinct(corners)
        _require_simple(corners)
        corners = _straightened(corners)
        object.__setattr__(self, "was_clockwise", _twice_area_m2(corners) < 0)
        if self.was_clockwise:
            # Reversed so that wall k of the file becomes wall n - 1 - k.
            corners = corners[:1] + corners[:0:-1]
        object.__setattr__(self, "corners_m", corners)
        _require_sizes(self)

    @cached_property
    def array(self) -> Float:
        """The corners, shape (n, 2), in metres, counter-clockwise."""
        return np.array(self.corners_m)

    @cached_property
    def polygon(self) -> Polygon:
        """The same as a polygon of shapely."""
        from shapely import Polygon

        return Polygon(self.corners_m)

    @property
    def n_walls(self) -> int:
        """How many walls there are."""
        return len(self.corners_m)

    @property
    def area_m2(self) -> float:
        """Area in square metres."""
        return 0.5 * _twice_area_m2(self.corners_m)

    @property
    def wall_lengths_m(self) -> Float:
        """Length of each wall in metres, shape (n,)."""
        return np.asarray(np.linalg.norm(np.roll(self.array, -1, axis=0) - self.array, axis=1))

    @property
    def perimeter_m(self) -> float:
        """Length of all walls in metres."""
        return float(self.wall_lengths_m.sum())

    @property
    def bounds_m(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x and greatest y in metres."""
        low, high = self.array.min(axis=0), self.array.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    @property
    def front_wall(self) -> int:
        """The wall whose middle lies nearest to the front."""
        middles = 0.5 * (self.array + np.roll(self.array, -1, axis=0))
        return int(np.argmin(middles[:, 1]))

    @property
    def wall_names(self) -> tuple[str, ...]:
        """What each wall is called: front, rear, left and right of a rectangle, else numbers.

        Of other plans the front wall has its name; the rest count on from corner 1.
        """
        if self.is_rectangle:
            middles = 0.5 * (self.array + np.roll(self.array, -1, axis=0))
            named = {
                int(np.argmin(middles[:, 1])): "front",
                int(np.argmax(middles[:, 1])): "rear",
                int(np.argmin(middles[:, 0])): "left",
                int(np.argmax(middles[:, 0])): "right",
            }
            return tuple(named[k] for k in range(4))
        front = self.front_wall
        return tuple("front" if k == front else f"wall {k + 1}" for k in range(self.n_walls))

    @property
    def is_rectangle(self) -> bool:
        """Whether it is a rectangle with one corner at 0, 0 and walls along the axes."""
        low_x, low_y, high_x, high_y = self.bounds_m
        square = {(low_x, low_y), (high_x, low_y), (high_x, high_y), (low_x, high_y)}
        return (low_x, low_y) == (0.0, 0.0) and set(self.corners_m) == square

    @property
    def reentrant(self) -> tuple[int, ...]:
        """The corners that point into the room."""
        turns = _turns(self.corners_m)
        return tuple(int(k) for k in np.flatnonzero(turns < -_STRAIGHT))

    def holds(self, points_m: Float, *, margin_m: float = 0.0) -> Mask:
        """Return which points lie inside and at least a margin from every wall.

        Parameters
        ----------
        points_m : ndarray, shape (m, 2)
        margin_m : float
            0 counts the walls as inside.

        Returns
        -------
        ndarray of bool, shape (m,)
        """
        from shapely import distance, intersects_xy, points

        at = np.atleast_2d(points_m)
        inside = np.asarray(intersects_xy(self.polygon, at[:, 0], at[:, 1]))
        if margin_m > 0:
            away = np.asarray(distance(self.polygon.exterior, points(at)))
            inside &= away >= margin_m - 1e-9
        return inside


@dataclass(frozen=True, kw_only=True, slots=True)
class Footprint:
    """A piece of furniture as seen from above: a rectangle along the axes.

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


def rectangle(*, width_m: float, length_m: float) -> FloorPlan:
    """Return the plan of a rectangular room with its front left corner at 0, 0.

    Parameters
    ----------
    width_m, length_m : float

    Returns
    -------
    FloorPlan

    Raises
    ------
    ValueError
        If a side lies outside `SIZE_RANGE_M`.
    """
    for name, value in (("length_m", length_m), ("width_m", width_m)):
        if not SIZE_RANGE_M[0] <= value <= SIZE_RANGE_M[1]:
            msg = f"{name} {value} must lie from {SIZE_RANGE_M[0]:g} to {SIZE_RANGE_M[1]:g}"
            raise ValueError(msg)
    return FloorPlan(
        corners_m=((0.0, 0.0), (width_m, 0.0), (width_m, length_m), (0.0, length_m)),
    )


def _twice_area_m2(corners: Sequence[tuple[float, float]]) -> float:
    """Return the shoelace sum: twice the area, below 0 where clockwise."""
    x, y = np.array(corners).T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _turns(corners: Sequence[tuple[float, float]]) -> Float:
    """Return the sine of the turn at each corner, above 0 to the left."""
    points = np.array(corners)
    after = np.roll(points, -1, axis=0) - points
    before = points - np.roll(points, 1, axis=0)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(cross / (np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)))


def _require_numbers(corners: tuple[tuple[float, float], ...]) -> None:
    """Refuse too few or too many corners, and what is no number."""
    if not 3 <= len(corners) <= MOST_CORNERS:
        msg = f"floor_m has {len(corners)} corners; give 3 to {MOST_CORNERS}, in order"
        raise ValueError(msg)
    for k, corner in enumerate(corners, start=1):
        if not all(math.isfinite(value) for value in corner):
            msg = f"floor_m corner {k} is {corner}: both must be numbers"
            raise ValueError(msg)


def _require_distinct(corners: tuple[tuple[float, float], ...]) -> None:
    """Refuse a corner that is given twice, or nearly."""
    for k, corner in enumerate(corners):
        for other in range(k):
            if math.dist(corner, corners[other]) < LEAST_WALL_M:
                msg = (
                    f"floor_m corners {other + 1} and {k + 1} are the same point or less than "
                    f"{LEAST_WALL_M * 1e3:g} mm apart: give each corner once"
                )
                raise ValueError(msg)


def _require_simple(corners: tuple[tuple[float, float], ...]) -> None:
    """Refuse walls that cross or touch, naming the two."""
    from shapely import LineString

    n = len(corners)
    walls = [LineString([corners[k], corners[(k + 1) % n]]) for k in range(n)]
    for k in range(n):
        for other in range(k):
            adjacent = k - other in (1, n - 1)
            met = walls[k].intersection(walls[other])
            if (not adjacent and not met.is_empty) or met.length > 0:
                msg = (
                    f"floor_m: the walls after corners {other + 1} and {k + 1} cross or touch; "
                    "give the corners in order, going round the room once"
                )
                raise ValueError(msg)


def _straightened(corners: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """Leave out corners on a straight wall."""
    turns = _turns(corners)
    return tuple(
        corner for corner, turn in zip(corners, turns, strict=True) if abs(turn) > _STRAIGHT
    )


def _require_sizes(plan: FloorPlan) -> None:
    """Refuse what is too small, too large or too sharp for a room."""
    low_x, low_y, high_x, high_y = plan.bounds_m
    for name, value in (("wide", high_x - low_x), ("long", high_y - low_y)):
        if not SIZE_RANGE_M[0] <= value <= SIZE_RANGE_M[1]:
            msg = (
                f"floor_m is {value:g} m {name}: a room must lie from {SIZE_RANGE_M[0]:g} to "
                f"{SIZE_RANGE_M[1]:g} m"
            )
            raise ValueError(msg)
    after = np.roll(plan.array, -1, axis=0) - plan.array
    before = np.roll(plan.array, 1, axis=0) - plan.array
    cosine = np.sum(after * before, axis=1)
    cosine /= np.linalg.norm(after, axis=1) * np.linalg.norm(before, axis=1)
    sharpest = int(np.argmax(cosine))
    angle_deg = math.degrees(math.acos(min(1.0, float(cosine[sharpest]))))
    if angle_deg < LEAST_ANGLE_DEG:
        x, y = plan.corners_m[sharpest]
        msg = (
            f"floor_m has a corner of {angle_deg:.0f} degrees at ({x:g}, {y:g}); the sharpest "
            f"allowed is {LEAST_ANGLE_DEG:g} degrees"
        )
        raise ValueError(msg)
