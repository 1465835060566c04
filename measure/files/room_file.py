"""The room file: sizes, air, surfaces, and where loudspeakers and seat stand.

Conventions: x from the left wall (facing the loudspeakers), y from the front wall, z
above the floor, all in metres.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import msgspec

from analysis.basics.air import Air, air_at
from analysis.room.floor_plan import FloorPlan, Footprint, rectangle
from analysis.room.materials import absorption_of
from analysis.room.room import (
    SURFACES,
    Direction,
    Loudspeaker,
    Point,
    Positions,
    Room,
    require_inside,
)
from measure.errors import RoomFileError
from measure.files.toml_file import read_toml

THERMOMETER_STD_C = 1.0
"""One sigma of a room thermometer: common practice, no source."""


class _Absorption(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[absorption]``."""

    front: float | str | None = None
    rear: float | str | None = None
    left: float | str | None = None
    right: float | str | None = None
    floor: float | str | None = None
    ceiling: float | str | None = None
    walls: list[float | str] | None = None


class _Ceiling(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[ceiling]``."""

    far_height_m: float
    slopes_along: Direction = "y"


class _Furniture(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """A table ``[[furniture]]``."""

    x_m: tuple[float, float]
    y_m: tuple[float, float]


class _Speaker(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The tables ``[left]`` and ``[right]``."""

    x_m: float
    y_m: float
    z_m: float
    woofer_z_m: float | None = None


class _Seat(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[seat]``."""

    x_m: float
    y_m: float
    z_m: float


class _RoomTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The whole file."""

    height_m: float
    temperature_c: float
    length_m: float | None = None
    width_m: float | None = None
    floor_m: list[tuple[float, float]] | None = None
    ceiling: _Ceiling | None = None
    furniture: list[_Furniture] | None = None
    left: _Speaker | None = None
    right: _Speaker | None = None
    seat: _Seat | None = None
    relative_humidity_percent: float | None = None
    absorption: _Absorption | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class RoomFile:
    """A room file's contents.

    Attributes
    ----------
    room : Room
    positions : Positions
    air : Air
    furniture : tuple of Footprint
        Where nothing else can stand.
    """

    room: Room
    positions: Positions
    air: Air
    furniture: tuple[Footprint, ...] = ()


def read_room(path: Path, *, places: Callable[[Room], Positions] | None = None) -> RoomFile:
    """Read a room file.

    Parameters
    ----------
    path : Path
    places : callable, optional
        Takes the room and returns where the pair and the seat stand, instead of the file's
        own places; the woofers' heights are the file's.

    Returns
    -------
    RoomFile

    Raises
    ------
    RoomFileError
        If it can't be read, misses something, or describes an impossible room.
    """
    table = read_toml(
        path,
        _RoomTable,
        error=RoomFileError,
        what="a room file",
        hint="`apexline starter NEW.toml` writes one to compare with",
    )
    try:
        return _build_records(table, places)
    except ValueError as problem:
        msg = f"{path}: {problem}; correct it in the file (lengths in metres)"
        raise RoomFileError(msg) from problem


def _absorption(table: _Absorption | None, plan: FloorPlan) -> dict[str, float] | None:
    """Return the absorption of the surfaces that the file names."""
    if table is None:
        return None
    given: dict[str, float | str | None] = {name: getattr(table, name) for name in SURFACES}
    if table.walls is not None:
        if len(table.walls) != plan.n_walls:
            msg = f"absorption: walls has {len(table.walls)} entries, the floor plan {plan.n_walls}"
            raise ValueError(msg)
        given |= dict(zip(plan.wall_names, _in_file_order(table.walls, plan), strict=True))
    return {
        name: absorption_of(value, name=name) for name, value in given.items() if value is not None
    }


def _in_file_order(values: list[float | str], plan: FloorPlan) -> list[float | str]:
    """Return one value a wall in the plan's order, which is turned if the file's is clockwise."""
    return values[::-1] if plan.was_clockwise else values


def _plan(table: _RoomTable) -> FloorPlan:
    """Return the floor plan, from its corners or from length and width."""
    if table.floor_m is not None:
        if table.length_m is not None or table.width_m is not None:
            msg = "floor_m stands in place of length_m and width_m: give one or the other"
            raise ValueError(msg)
        return FloorPlan(corners_m=tuple(table.floor_m))
    if table.length_m is None or table.width_m is None:
        lacking = "length_m" if table.length_m is None else "width_m"
        msg = f"the key {lacking} is missing (or give floor_m, the corners of another floor plan)"
        raise ValueError(msg)
    return rectangle(width_m=table.width_m, length_m=table.length_m)


def _room(table: _RoomTable) -> Room:
    """Return the room."""
    plan = _plan(table)
    ceiling = table.ceiling
    return Room(
        plan=plan,
        height_m=table.height_m,
        far_height_m=None if ceiling is None else ceiling.far_height_m,
        slopes_along="y" if ceiling is None else ceiling.slopes_along,
        absorption=_absorption(table.absorption, plan),
    )


def _build_records(table: _RoomTable, places: Callable[[Room], Positions] | None) -> RoomFile:
    """Return the records of a table, which refuse what is impossible."""
    room = _room(table)
    positions = _own_places(table) if places is None else _with_woofers(table, places(room))
    require_inside(room, positions)
    air = air_at(
        table.temperature_c,
        temperature_std_c=THERMOMETER_STD_C,
        relative_humidity_percent=table.relative_humidity_percent,
    )
    furniture = tuple(Footprint(x_m=one.x_m, y_m=one.y_m) for one in table.furniture or ())
    return RoomFile(room=room, positions=positions, air=air, furniture=furniture)


def _own_places(table: _RoomTable) -> Positions:
    """Return the places that the file gives."""
    if table.left is None or table.right is None or table.seat is None:
        lacking = next(name for name in ("left", "right", "seat") if getattr(table, name) is None)
        msg = f"the table [{lacking}] is missing: where it stands (x_m, y_m, z_m)"
        raise ValueError(msg)
    return Positions(
        left=_loudspeaker("left", table.left),
        right=_loudspeaker("right", table.right),
        seat=_point("seat", table.seat),
    )


def _with_woofers(table: _RoomTable, places: Positions) -> Positions:
    """Return places with the heights of the woofers that the file gives."""
    heights = {
        side: None if given is None else given.woofer_z_m
        for side, given in (("left", table.left), ("right", table.right))
    }
    return Positions(
        left=Loudspeaker(tweeter=places.left.tweeter, woofer_z_m=heights["left"]),
        right=Loudspeaker(tweeter=places.right.tweeter, woofer_z_m=heights["right"]),
        seat=places.seat,
    )


def _point(name: str, table: _Speaker | _Seat) -> Point:
    """Return the place that a table gives, naming the table in the error."""
    try:
        return Point(x_m=table.x_m, y_m=table.y_m, z_m=table.z_m)
    except ValueError as problem:
        msg = f"{name}: {problem}"
        raise ValueError(msg) from problem


def _loudspeaker(name: str, table: _Speaker) -> Loudspeaker:
    """Return the loudspeaker that a table gives."""
    height_m = table.woofer_z_m
    if height_m is not None and not math.isfinite(height_m):
        msg = f"{name}: woofer_z_m {height_m} must be a number"
        raise ValueError(msg)
    return Loudspeaker(tweeter=_point(name, table), woofer_z_m=height_m)
