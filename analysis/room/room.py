r"""A rectangular room, and where the loudspeakers and the seat stand in it.

Conventions, used by every module that speaks of the room:

- A person facing the loudspeakers has the *front* wall before and the *rear* wall
  behind. *Length* runs from front to rear, *width* from left to right.
- ``x_m`` counts from the left wall (along the width), ``y_m`` from the front wall
  (along the length), ``z_m`` from the floor (along the height).
- Surfaces are named ``front``, ``rear``, ``left``, ``right``, ``floor``, ``ceiling``.
- A difference is left minus right.

References
----------
H. Kuttruff, "Room Acoustics", 5th ed.: Sabine's and Eyring's reverberation time
(from memory).
M. Schroeder and H. Kuttruff, "On frequency response curves in rooms", JASA 34,
76-80, 1962: the frequency above which modes overlap (second-hand).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.basics.arrays import Float

Surface = Literal["front", "rear", "left", "right", "floor", "ceiling"]

SURFACES: Final[tuple[Surface, ...]] = ("front", "rear", "left", "right", "floor", "ceiling")

SIZE_RANGE_M: Final = (1.0, 30.0)
"""Rooms that people listen in at home. A mistyped unit falls outside."""

DEFAULT_ABSORPTION: Final = 0.2
"""Taken for surfaces of which nothing is known: it gives living rooms of 30 to 80 cubic
metres 0.35 to 0.6 s. Common practice, no source."""

ROOM_SIZE_STD: Final = 0.01
"""One sigma of a room's acoustic size, relative: walls that give, furniture and an
unmeasured niche shift modes by about this much. Common practice, no source."""

SOURCE_OR_SEAT_STD_M: Final = 0.02
"""One sigma of each coordinate of a source or seat: a tape, and the unknown point in a
cabinet from which the bass comes. Common practice, no source."""

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


@dataclass(frozen=True, kw_only=True, slots=True)
class Room:
    """A rectangular room.

    Attributes
    ----------
    length_m, width_m, height_m : float
        Front to rear, left to right, floor to ceiling; in metres.
    absorption : mapping of str to float
        Share of the energy that a surface keeps, 0 to 1, by its name; surfaces left
        out have `DEFAULT_ABSORPTION`.
    """

    length_m: float
    width_m: float
    height_m: float
    absorption: Mapping[Surface, float] | None = None

    def __post_init__(self) -> None:
        for name in ("length_m", "width_m", "height_m"):
            value = getattr(self, name)
            if not SIZE_RANGE_M[0] <= value <= SIZE_RANGE_M[1]:
                msg = f"{name} {value} must lie from {SIZE_RANGE_M[0]:g} to {SIZE_RANGE_M[1]:g}"
                raise ValueError(msg)
        for surface, value in (self.absorption or {}).items():
            if surface not in SURFACES:
                msg = f"absorption of {surface!r}: a surface must be one of {', '.join(SURFACES)}"
                raise ValueError(msg)
            if not 0 <= value <= 1:
                msg = f"absorption of {surface} {value} must lie from 0 to 1"
                raise ValueError(msg)

    @property
    def size_m(self) -> Float:
        """Width, length and height along x, y and z in metres, shape (3,)."""
        return np.array([self.width_m, self.length_m, self.height_m])

    @property
    def volume_m3(self) -> float:
        """Volume in cubic metres."""
        return self.length_m * self.width_m * self.height_m

    @property
    def surface_m2(self) -> float:
        """Area of all six surfaces in square metres."""
        return 2 * (
            self.length_m * self.width_m
            + self.width_m * self.height_m
            + self.height_m * self.length_m
        )

    @property
    def edges_m(self) -> float:
        """Length of all twelve edges in metres."""
        return 4 * (self.length_m + self.width_m + self.height_m)

    @property
    def absorption_is_assumed(self) -> bool:
        """Whether the absorption of any surface is a guess."""
        return set(self.absorption or {}) != set(SURFACES)

    def absorption_of(self, surface: Surface) -> float:
        """Return the share of the energy that a surface keeps, 0 to 1."""
        return (self.absorption or {}).get(surface, DEFAULT_ABSORPTION)

    def area_m2(self, surface: Surface) -> float:
        """Return the area of a surface in square metres."""
        if surface in ("front", "rear"):
            return self.width_m * self.height_m
        if surface in ("left", "right"):
            return self.length_m * self.height_m
        return self.length_m * self.width_m

    def holds(self, point: Point) -> bool:
        """Return whether a point lies inside the room or on a surface of it."""
        coordinates = point.array
        return bool(np.all((coordinates >= 0) & (coordinates <= self.size_m)))


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
        for axis, value, limit in zip("xyz", point.array, room.size_m, strict=True):
            if not 0 <= value <= limit:
                msg = f"{name}: {axis}_m {value:g} must lie from 0 to {limit:g}, inside the room"
                raise ValueError(msg)
        if name != "seat" and point.distance_m(positions.seat) < _LEAST_DISTANCE_M:
            msg = f"{name}: must stand at least {_LEAST_DISTANCE_M:g} m from the seat"
            raise ValueError(msg)


def reverberation_time_s(
    room: Room, *, speed_of_sound_m_s: float, law: Literal["eyring", "sabine"] = "eyring"
) -> float:
    r"""Return the reverberation time that the absorption gives.

    Parameters
    ----------
    room : Room
    speed_of_sound_m_s : float
    law : {"eyring", "sabine"}

    Returns
    -------
    float
        In seconds; infinite where nothing absorbs, 0 where everything does (Eyring).

    Notes
    -----
    :math:`T = 24 \ln 10\; V / (c A)`, with :math:`A = \sum \alpha_i S_i` (Sabine) or
    :math:`A = -S \ln(1 - \bar\alpha)` (Eyring), for a diffuse field: below the
    Schroeder frequency it is a rough guide and a measured decay is better.
    """
    absorbing_m2 = sum(room.absorption_of(s) * room.area_m2(s) for s in SURFACES)
    if law == "eyring":
        mean = min(absorbing_m2 / room.surface_m2, 1.0)
        absorbing_m2 = math.inf if mean == 1 else -room.surface_m2 * math.log1p(-mean)
    if absorbing_m2 == 0:
        return math.inf
    return 24 * math.log(10) * room.volume_m3 / (speed_of_sound_m_s * absorbing_m2)


def mean_absorption(
    decay_s: float, *, volume_m3: float, surface_m2: float, speed_of_sound_m_s: float
) -> float:
    """Return the mean absorption that a reverberation time means by Eyring's law.

    Parameters
    ----------
    decay_s : float
        Above 0, in seconds.
    volume_m3, surface_m2 : float
        Of the room, whatever its shape.
    speed_of_sound_m_s : float

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        If the time isn't above 0.
    """
    if not decay_s > 0:
        msg = f"decay_s {decay_s} must lie above 0"
        raise ValueError(msg)
    exponent = 24 * math.log(10) * volume_m3 / (speed_of_sound_m_s * decay_s * surface_m2)
    return -math.expm1(-exponent)


def schroeder_frequency_hz(room: Room, *, reverberation_time_s: float) -> float:
    r"""Return the frequency above which modes overlap, :math:`2000 \sqrt{T/V}`.

    Parameters
    ----------
    room : Room
    reverberation_time_s : float
        Measured or predicted, above 0.

    Returns
    -------
    float
        In Hz; there three modes fall within the half-power width of one.

    Raises
    ------
    ValueError
        If the time isn't above 0.
    """
    if not reverberation_time_s > 0:
        msg = f"reverberation_time_s {reverberation_time_s} must lie above 0"
        raise ValueError(msg)
    return 2000 * math.sqrt(reverberation_time_s / room.volume_m3)
