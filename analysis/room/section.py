"""A room as one section drawn along a straight line: the direction in which its modes part.

Conventions: those of `analysis.room.room`. Under a level ceiling the section is the floor
plan, and the line runs up. Under a ceiling that slopes along one side of a rectangle the
section is the upright one through the slope, a trapezoid, and the line runs along the other
side. Any mode is then a mode of the section times a cosine along the line. Other rooms have no
section.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.room.floor_plan import FloorPlan
from analysis.room.room import Room


@dataclass(frozen=True, kw_only=True, slots=True)
class Section:
    """What a room is the same of, all along a line.

    Attributes
    ----------
    outline : FloorPlan
        The section's corners in metres.
    length_m : float
        Of the line.
    across : tuple of int
        The axes of the room (0 is x, 1 y, 2 z) that the section's corners are given in.
    along : int
        The axis of the line.
    sides : tuple of int
        The room's surface over each side of the outline, an index into `Room.surfaces`.
    ends : tuple of int
        The surfaces where the line begins and ends.
    """

    outline: FloorPlan
    length_m: float
    across: tuple[int, int]
    along: int
    sides: tuple[int, ...]
    ends: tuple[int, int]


def section_of(room: Room) -> Section | None:
    """Return a room's section, None where it has none.

    Parameters
    ----------
    room : Room

    Returns
    -------
    Section or None
    """
    n_walls = room.plan.n_walls
    if room.is_level:
        return Section(
            outline=room.plan,
            length_m=room.height_m,
            across=(0, 1),
            along=2,
            sides=tuple(range(n_walls)),
            ends=(n_walls, n_walls + 1),
        )
    if not room.plan.is_rectangle or room.far_height_m is None:
        return None
    sides_m = room.plan.bounds_m[2:]
    slopes, along = (0, 1) if room.slopes_along == "x" else (1, 0)
    run_m = sides_m[slopes]
    corners = ((0.0, 0.0), (run_m, 0.0), (run_m, room.far_height_m), (0.0, room.height_m))
    names = [("left", "right"), ("front", "rear")]
    (near, far), ends = names[slopes], names[along]
    where = room.surfaces.index
    return Section(
        outline=FloorPlan(corners_m=corners),
        length_m=sides_m[along],
        across=(slopes, 2),
        along=along,
        sides=tuple(where(name) for name in ("floor", far, "ceiling", near)),
        ends=(where(ends[0]), where(ends[1])),
    )
