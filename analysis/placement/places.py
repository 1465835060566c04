"""The places where a pair and a seat may stand.

Conventions: those of `analysis.room.room`. *Front distance* is that of the loudspeakers from the
front wall, along y; *half spread* is the distance of each from the centre line, alike on both
sides even where the walls aren't; the seat stands on the centre line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float, Mask
from analysis.room.floor_plan import FloorPlan, Footprint
from analysis.room.room import Positions, Room

CLEARANCE_M: Final = 0.3
"""Least distance of a loudspeaker's middle from walls and furniture: half a cabinet and a
hand. Common practice, no source."""

SEAT_CLEARANCE_M: Final = 0.5
"""Least distance of the head from walls. Common practice, no source."""

ANGLES_DEG: Final = (40.0, 70.0)
"""Angle between the loudspeakers at the seat: 60 is usual, 45 to 60 advised for music (read
in home-cinema and studio pages); a little more is left on both sides."""

LEAST_APART_M: Final = 1.0
"""Seat to loudspeakers along the centre line: nearer, woofer and tweeter don't blend."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Places:
    """Allowed places, one a row.

    Attributes
    ----------
    front_wall_m, half_spread_m, seat_m : ndarray, shape (m,)
        Of the pair from the front wall, of each loudspeaker from the centre line, of the
        seat from the front wall.
    left_m, right_m, listener_m : ndarray, shape (m, 3)
        Woofers and head in the room's coordinates.
    """

    front_wall_m: Float
    half_spread_m: Float
    seat_m: Float
    left_m: Float
    right_m: Float
    listener_m: Float

    @property
    def n_places(self) -> int:
        """How many there are."""
        return int(self.front_wall_m.size)


def front_wall_y_m(plan: FloorPlan) -> float:
    """Return y of the middle of the front wall."""
    k = plan.front_wall
    return float(0.5 * (plan.array[k, 1] + plan.array[(k + 1) % plan.n_walls, 1]))


def current_distances_m(room: Room, positions: Positions) -> tuple[float, float, float]:
    """Return front distance, half spread and seat distance as they stand, in metres."""
    line_m = front_wall_y_m(room.plan)
    left, right = positions.left.tweeter, positions.right.tweeter
    front_m = 0.5 * (left.y_m + right.y_m) - line_m
    return front_m, 0.5 * (right.x_m - left.x_m), positions.seat.y_m - line_m


def places_at(
    room: Room, positions: Positions, front_m: Float, spread_m: Float, seat_m: Float
) -> Places:
    """Return places as coordinates, heights and centre line being those of today.

    Parameters
    ----------
    front_m, spread_m, seat_m : ndarray, shape (m,)
    """
    line_m = front_wall_y_m(room.plan)
    centre_m = 0.5 * (positions.left.tweeter.x_m + positions.right.tweeter.x_m)
    ones = np.ones(front_m.size)
    woofers = positions.left.woofer.z_m, positions.right.woofer.z_m
    return Places(
        front_wall_m=front_m,
        half_spread_m=spread_m,
        seat_m=seat_m,
        left_m=np.column_stack([centre_m - spread_m, line_m + front_m, woofers[0] * ones]),
        right_m=np.column_stack([centre_m + spread_m, line_m + front_m, woofers[1] * ones]),
        listener_m=np.column_stack([centre_m * ones, line_m + seat_m, positions.seat.z_m * ones]),
    )


def allowed_places(
    room: Room,
    positions: Positions,
    *,
    front_m: Float,
    spread_m: Float,
    seat_m: Float,
    furniture: tuple[Footprint, ...] = (),
    clearance_m: float = CLEARANCE_M,
) -> Places:
    """Return all combinations that keep clear of walls and furniture and make a triangle.

    Parameters
    ----------
    positions : Positions
        Give heights and the centre line.
    front_m, spread_m, seat_m : ndarray
        What is tried, in metres.
    clearance_m : float
        Of the loudspeakers.

    Raises
    ------
    ValueError
        If none is allowed.
    """
    mesh = np.meshgrid(front_m, spread_m, seat_m, indexing="ij")
    every = places_at(room, positions, *(axis.ravel() for axis in mesh))
    forbidden = _forbidden_by_rule(room, every, furniture, clearance_m)
    kept = ~np.any(list(forbidden.values()), axis=0)
    if not kept.any():
        raise ValueError(_reason_for_none(forbidden))
    return places_at(
        room,
        positions,
        every.front_wall_m[kept],
        every.half_spread_m[kept],
        every.seat_m[kept],
    )


def _forbidden_by_rule(
    room: Room, every: Places, furniture: tuple[Footprint, ...], clearance_m: float
) -> dict[str, Mask]:
    """Return which places each rule forbids, by what it asks for."""
    depth_m = every.seat_m - every.front_wall_m
    angle_deg = 2 * np.degrees(np.arctan2(every.half_spread_m, depth_m))
    walled, blocked = np.zeros((2, every.n_places), dtype=bool)
    for points in (every.left_m, every.right_m):
        walled |= ~room.plan.holds(points[:, :2], margin_m=clearance_m) | ~room.holds(points)
        for one in furniture:
            blocked |= one.covers(points[:, :2], margin_m=clearance_m)
    for one in furniture:
        blocked |= one.covers(every.listener_m[:, :2])
    return {
        f"loudspeakers {clearance_m:g} m from walls and below the ceiling": walled,
        f"loudspeakers {clearance_m:g} m from furniture, the head not in it": blocked,
        f"the head {SEAT_CLEARANCE_M:g} m from walls": ~room.plan.holds(
            every.listener_m[:, :2], margin_m=SEAT_CLEARANCE_M
        ),
        f"the seat {LEAST_APART_M:g} m behind the line of the loudspeakers": depth_m
        < LEAST_APART_M,
        f"{ANGLES_DEG[0]:g} to {ANGLES_DEG[1]:g} degrees between the loudspeakers": (
            (angle_deg < ANGLES_DEG[0]) | (angle_deg > ANGLES_DEG[1])
        ),
    }


def _reason_for_none(forbidden: dict[str, Mask]) -> str:
    """Return which rule forbids most places, where all are forbidden."""
    count = {rule: int(np.sum(mask)) for rule, mask in forbidden.items()}
    worst = max(count, key=lambda rule: count[rule])
    n_places = next(iter(forbidden.values())).size
    text = f"no place of {n_places} tried is allowed; most are forbidden by"
    text += f" '{worst}' ({count[worst]})"
    others = [f"'{rule}' ({n})" for rule, n in count.items() if n and rule != worst]
    if others:
        text += f", others by {', '.join(others)}"
    return f"{text}: change the ranges, the clearance or the room file"


def default_ranges_m(room: Room, positions: Positions) -> tuple[Float, Float, Float]:
    """Return ranges for front distance, half spread and seat that the room allows.

    Distances go in steps of 50 mm from the least clearance to 40 % of the depth, spreads in
    steps of 100 mm within 0.3 m of today's, seats in steps of 100 mm within 0.6 m of today's.
    """
    _, spread_m, seat_m = current_distances_m(room, positions)
    depth_m = room.plan.bounds_m[3] - front_wall_y_m(room.plan)
    front = np.arange(CLEARANCE_M, 0.4 * depth_m + 1e-9, 0.05)
    spreads = np.round(spread_m + np.arange(-0.3, 0.31, 0.1), 4)
    seats = np.round(seat_m + np.arange(-0.6, 0.61, 0.1), 4)
    return np.round(front, 4), spreads[spreads > 0.3], seats[seats > 0]
