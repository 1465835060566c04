"""A room, and where the loudspeakers and the seat stand in it.

Conventions, used by every module that speaks of the room:

- A person facing the loudspeakers has the *front* wall before and the *rear* wall
  behind. *Length* runs from front to rear, *width* from left to right.
- ``x_m`` counts from the left wall (along the width), ``y_m`` from the front wall
  (along the length), ``z_m`` from the floor (along the height).
- Surfaces are the walls of the floor plan, ``floor`` and ``ceiling``; the walls of a
  rectangle are named ``front``, ``rear``, ``left``, ``right``.
- The ceiling is plane: level, or sloping along x or y. ``height_m`` is its height where the
  sloping direction begins (the least x or y of the plan), ``far_height_m`` that where it ends.
- A *box* is a rectangle under a level ceiling.
- A difference is left minus right.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.basics.arrays import Float, Mask
from analysis.room.floor_plan import SIZE_RANGE_M, FloorPlan, rectangle
from analysis.room.materials import admittance

Direction = Literal["x", "y"]

SURFACES: Final = ("front", "rear", "left", "right", "floor", "ceiling")
"""Of a box."""

DEFAULT_ABSORPTION: Final = 0.2
"""Taken for surfaces of which nothing is known: it gives living rooms of 30 to 80 cubic
metres 0.35 to 0.6 s. Common practice, no source."""

ROOM_SIZE_STD: Final = 0.01
"""One sigma of a room's acoustic size, relative: walls that give, furniture and an
unmeasured niche shift modes by about this much. Common practice, no source."""

SOURCE_OR_SEAT_STD_M: Final = 0.02
"""One sigma of each coordinate of a source or seat: a tape, and the unknown point in a
cabinet from which the bass comes. Common practice, no source."""

STEEPEST: Final = 1.5
"""Rise per length of a ceiling: steeper is a wall."""

_LEAST_DISTANCE_M: Final = 0.1
"""A microphone closer to a loudspeaker than this isn't at a seat."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Point:
    """A place in the room.

    Attributes
    ----------
    x_m, y_m, z_m : float
        From the left wall, from the front wall, above the floor; in metres.
    """

    x_m: float
    y_m: float
    z_m: float

    def __post_init__(self) -> None:
        for name in ("x_m", "y_m", "z_m"):
            if not math.isfinite(getattr(self, name)):
                msg = f"{name} {getattr(self, name)} must be a number"
                raise ValueError(msg)

    @property
    def array(self) -> Float:
        """The coordinates x, y, z in metres, shape (3,)."""
        return np.array([self.x_m, self.y_m, self.z_m])

    def distance_m(self, other: Point) -> float:
        """Return the distance to another point, in metres."""
        return math.dist((self.x_m, self.y_m, self.z_m), (other.x_m, other.y_m, other.z_m))


@dataclass(frozen=True, kw_only=True, slots=True)
class Loudspeaker:
    """Where a loudspeaker radiates from.

    Attributes
    ----------
    tweeter : Point
    woofer_z_m : float or None
        Height of the bass above the floor, in metres; ``None`` takes the tweeter's.
    """

    tweeter: Point
    woofer_z_m: float | None = None

    @property
    def woofer(self) -> Point:
        """Where the bass comes from."""
        z_m = self.tweeter.z_m if self.woofer_z_m is None else self.woofer_z_m
        return Point(x_m=self.tweeter.x_m, y_m=self.tweeter.y_m, z_m=z_m)

    @property
    def woofer_is_assumed(self) -> bool:
        """Whether the bass is taken to come from the tweeter for want of its height."""
        return self.woofer_z_m is None


@dataclass(frozen=True, kw_only=True, slots=True)
class Positions:
    """The pair and the seat.

    Attributes
    ----------
    left, right : Loudspeaker
    seat : Point
        The microphone, or the middle of the listener's head.
    """

    left: Loudspeaker
    right: Loudspeaker
    seat: Point

    @property
    def left_m(self) -> float:
        """Distance from the left tweeter to the seat, in metres."""
        return self.left.tweeter.distance_m(self.seat)

    @property
    def right_m(self) -> float:
        """Distance from the right tweeter to the seat, in metres."""
        return self.right.tweeter.distance_m(self.seat)

    @property
    def left_minus_right_m(self) -> float:
        """How much farther the left tweeter is than the right one, in metres."""
        return self.left_m - self.right_m

    @property
    def half_angle_deg(self) -> float:
        """Half the angle between the loudspeakers as seen from the seat, in plan, in degrees."""
        bearing = [
            math.atan2(side.tweeter.x_m - self.seat.x_m, self.seat.y_m - side.tweeter.y_m)
            for side in (self.left, self.right)
        ]
        between = abs(bearing[1] - bearing[0])
        return math.degrees(min(between, 2 * math.pi - between)) / 2

    @property
    def exchanged(self) -> bool:
        """Whether the left loudspeaker stands to the right of the right one."""
        return self.left.tweeter.x_m > self.right.tweeter.x_m


@dataclass(frozen=True, kw_only=True)
class Room:
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
    def length_m(self) -> float:
        """Greatest y in metres: front to rear wall of a rectangle."""
        return self.plan.bounds_m[3]

    @property
    def width_m(self) -> float:
        """Greatest x in metres: left to right wall of a rectangle."""
        return self.plan.bounds_m[2]

    @property
    def size_m(self) -> Float:
        """Width, length and height of a box along x, y and z in metres, shape (3,)."""
        return np.array([self.width_m, self.length_m, self.height_m])

    @property
    def volume_m3(self) -> float:
        """Volume in cubic metres: the area times the height over its centroid."""
        centroid = self.plan.polygon.centroid
        return self.plan.area_m2 * float(self.height_at(np.array([[centroid.x, centroid.y]]))[0])

    @property
    def surface_m2(self) -> float:
        """Area of all surfaces in square metres."""
        return float(self.areas_m2().sum())

    @property
    def mean_absorption(self) -> float:
        """Absorption of all surfaces, weighted by area, 0 to 1."""
        kept = np.array([self.absorption_of(name) for name in self.surfaces])
        areas_m2 = self.areas_m2()
        return float((areas_m2 * kept).sum() / areas_m2.sum())

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


def rectangular_room(
    *,
    length_m: float,
    width_m: float,
    height_m: float,
    absorption: Mapping[str, float] | None = None,
) -> Room:
    """Return a box with its front left corner at 0, 0.

    Parameters
    ----------
    length_m, width_m, height_m : float
        Front to rear, left to right, floor to ceiling; in metres.
    absorption : mapping of str to float, optional
        As in `Room`, by the names `SURFACES`.

    Returns
    -------
    Room

    Raises
    ------
    ValueError
        If no room has such a size or absorption.
    """
    plan = rectangle(width_m=width_m, length_m=length_m)
    return Room(plan=plan, height_m=height_m, absorption=absorption)


def require_inside(room: Room, positions: Positions) -> None:
    """Check that the pair and the seat stand in the room and apart from each other.

    Parameters
    ----------
    room : Room
    positions : Positions

    Raises
    ------
    ValueError
        If one lies outside, or a loudspeaker at the seat.
    """
    named = {
        "left": positions.left.tweeter,
        "left woofer": positions.left.woofer,
        "right": positions.right.tweeter,
        "right woofer": positions.right.woofer,
        "seat": positions.seat,
    }
    for name, point in named.items():
        _require_point(room, name, point)
        if name != "seat" and point.distance_m(positions.seat) < _LEAST_DISTANCE_M:
            msg = f"{name}: must stand at least {_LEAST_DISTANCE_M:g} m from the seat"
            raise ValueError(msg)


def _require_point(room: Room, name: str, point: Point) -> None:
    """Refuse a point outside the plan, below the floor or above the ceiling."""
    at = point.array
    if room.is_box:
        _require_in_box(room, name, at)
        return
    if not room.plan.holds(at[np.newaxis, :2])[0]:
        msg = f"{name}: x_m {at[0]:g}, y_m {at[1]:g} lies outside the floor plan"
        raise ValueError(msg)
    height_m = float(room.height_at(at[np.newaxis, :2])[0])
    if not 0 <= at[2] <= height_m:
        msg = f"{name}: z_m {at[2]:g} must lie from 0 to {height_m:.4g}, the ceiling there"
        raise ValueError(msg)


def _require_in_box(room: Room, name: str, at: Float) -> None:
    """Refuse a point outside a box, naming the axis."""
    for axis, value, limit in zip("xyz", at, room.size_m, strict=True):
        if not 0 <= value <= limit:
            msg = f"{name}: {axis}_m {value:g} must lie from 0 to {limit:g}, inside the room"
            raise ValueError(msg)
