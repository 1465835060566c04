r"""A room of any floor plan, under a ceiling that is level or slopes along one direction.

Conventions: those of `analysis.room.room` and `analysis.room.floor_plan`. `height_m` is the
ceiling's height where the sloping direction begins (the least x or y of the plan),
`far_height_m` that where it ends. Surfaces are the walls, ``floor`` and ``ceiling``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.basics.arrays import Float, Mask
from analysis.room.floor_plan import FloorPlan, rectangle
from analysis.room.materials import admittance
from analysis.room.room import DEFAULT_ABSORPTION, SIZE_RANGE_M, Point, Positions, Room

Direction = Literal["x", "y"]

STEEPEST: Final = 1.5
"""Rise per length of a ceiling: steeper is a wall."""

_LEAST_DISTANCE_M: Final = 0.1


@dataclass(frozen=True, kw_only=True)
class Space:
    """A room under a plane ceiling.

    Attributes
    ----------
    plan : FloorPlan
    height_m : float
        Of a level ceiling; of a sloped one where x or y is least.
    far_height_m : float or None
        Of a sloped ceiling where x or y is greatest; None where it is level.
    slopes_along : {"x", "y"}
        The direction in which the height changes.
    absorption : mapping of str to float
        Share of the energy that a surface keeps, 0 to 1, by its name; what is left out
        has `DEFAULT_ABSORPTION`.
    """

    plan: FloorPlan
    height_m: float
    far_height_m: float | None = None
    slopes_along: Direction = "y"
    absorption: Mapping[str, float] | None = None

    def __post_init__(self) -> None:
        for name in ("height_m", "far_height_m"):
            value = getattr(self, name)
            if value is not None and not SIZE_RANGE_M[0] <= value <= SIZE_RANGE_M[1]:
                msg = f"{name} {value} must lie from {SIZE_RANGE_M[0]:g} to {SIZE_RANGE_M[1]:g}"
                raise ValueError(msg)
        if abs(self.slope) > STEEPEST:
            msg = f"the ceiling rises by {abs(self.slope):.2f} m a metre; at most {STEEPEST:g}"
            raise ValueError(msg)
        for surface, value in (self.absorption or {}).items():
            if surface not in self.surfaces:
                msg = f"absorption of {surface!r}: a surface must be one of {self.surfaces}"
                raise ValueError(msg)
            if not 0 <= value <= 1:
                msg = f"absorption of {surface} {value} must lie from 0 to 1"
                raise ValueError(msg)

    @property
    def surfaces(self) -> tuple[str, ...]:
        """Names of the walls in order, then ``floor`` and ``ceiling``."""
        return (*self.plan.wall_names, "floor", "ceiling")

    @property
    def is_level(self) -> bool:
        """Whether the ceiling has one height."""
        return self.far_height_m is None or self.far_height_m == self.height_m

    @property
    def is_box(self) -> bool:
        """Whether it is a rectangle under a level ceiling."""
        return self.is_level and self.plan.is_rectangle

    @property
    def slope(self) -> float:
        """How much the ceiling rises per metre of x or y."""
        if self.far_height_m is None:
            return 0.0
        low_x, low_y, high_x, high_y = self.plan.bounds_m
        run_m = high_x - low_x if self.slopes_along == "x" else high_y - low_y
        return (self.far_height_m - self.height_m) / run_m

    @property
    def volume_m3(self) -> float:
        """Volume in cubic metres: the area times the height over its centroid."""
        centroid = self.plan.polygon.centroid
        return self.plan.area_m2 * float(self.height_at(np.array([[centroid.x, centroid.y]]))[0])

    @property
    def absorption_is_assumed(self) -> bool:
        """Whether the absorption of any surface is a guess."""
        return set(self.absorption or {}) != set(self.surfaces)

    def absorption_of(self, surface: str) -> float:
        """Return the share of the energy that a surface keeps, 0 to 1."""
        return (self.absorption or {}).get(surface, DEFAULT_ABSORPTION)

    def admittances(self) -> Float:
        """Return the specific admittance of each surface, in the order of `surfaces`."""
        return np.array([admittance(self.absorption_of(name)) for name in self.surfaces])

    def height_at(self, points_m: Float) -> Float:
        """Return the ceiling's height in metres over points of the plan, shape (m,)."""
        axis = 0 if self.slopes_along == "x" else 1
        start = self.plan.bounds_m[axis]
        return np.asarray(self.height_m + self.slope * (np.atleast_2d(points_m)[:, axis] - start))

    def areas_m2(self) -> Float:
        """Return the area of each surface in square metres, in the order of `surfaces`."""
        corners = self.plan.array
        heights = self.height_at(corners)
        walls = self.plan.wall_lengths_m * 0.5 * (heights + np.roll(heights, -1))
        floor = self.plan.area_m2
        return np.array([*walls, floor, floor * math.hypot(1.0, self.slope)])

    def holds(self, points_m: Float) -> Mask:
        """Return which points, shape (m, 3), lie inside or on a surface."""
        at = np.atleast_2d(points_m)
        tall = (at[:, 2] >= 0) & (at[:, 2] <= self.height_at(at[:, :2]))
        return np.asarray(self.plan.holds(at[:, :2]) & tall)

    def reverberation_time_s(self, *, speed_of_sound_m_s: float) -> float:
        """Return Eyring's reverberation time in seconds; infinite where nothing absorbs."""
        areas = self.areas_m2()
        kept = np.array([self.absorption_of(name) for name in self.surfaces])
        mean = min(float(areas @ kept / areas.sum()), 0.99)
        if mean == 0:
            return math.inf
        loss_m2 = -float(areas.sum()) * math.log1p(-mean)
        return 24 * math.log(10) * self.volume_m3 / (speed_of_sound_m_s * loss_m2)

    def schroeder_hz(self, *, reverberation_time_s: float) -> float:
        """Return the frequency above which modes overlap, in Hz (Schroeder and Kuttruff)."""
        return 2000 * math.sqrt(reverberation_time_s / self.volume_m3)


def space_of(room: Room) -> Space:
    """Return a rectangular room as a room of any floor plan."""
    return Space(
        plan=rectangle(width_m=room.width_m, length_m=room.length_m),
        height_m=room.height_m,
        absorption=None
        if room.absorption is None
        else {str(surface): value for surface, value in room.absorption.items()},
    )


def require_in_space(space: Space, positions: Positions) -> None:
    """Check that the pair and the seat stand in the room and apart from each other.

    Parameters
    ----------
    space : Space
    positions : Positions

    Raises
    ------
    ValueError
        If one lies outside the floor plan or above the ceiling, or a loudspeaker at the seat.
    """
    named = {
        "left": positions.left.tweeter,
        "left woofer": positions.left.woofer,
        "right": positions.right.tweeter,
        "right woofer": positions.right.woofer,
        "seat": positions.seat,
    }
    for name, point in named.items():
        _require_point(space, name, point)
        if name != "seat" and point.distance_m(positions.seat) < _LEAST_DISTANCE_M:
            msg = f"{name}: must stand at least {_LEAST_DISTANCE_M:g} m from the seat"
            raise ValueError(msg)


def _require_point(space: Space, name: str, point: Point) -> None:
    """Refuse a point outside the plan, below the floor or above the ceiling."""
    at = point.array
    if not space.plan.holds(at[np.newaxis, :2])[0]:
        msg = f"{name}: x_m {at[0]:g}, y_m {at[1]:g} lies outside the floor plan"
        raise ValueError(msg)
    height_m = float(space.height_at(at[np.newaxis, :2])[0])
    if not 0 <= at[2] <= height_m:
        msg = f"{name}: z_m {at[2]:g} must lie from 0 to {height_m:.4g}, the ceiling there"
        raise ValueError(msg)
