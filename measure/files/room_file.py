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
from analysis.room.floor_plan import SIZE_RANGE_M, FloorPlan, Footprint, rectangle
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

WARMEST_C = 50.0
"""No room is warmer; rooms from 10 °C up are in degrees Fahrenheit."""

HIGH_CEILING_M, HIGH_HEAD_M = 6.0, 2.2
"""A seated head is some 1.1 m high (3.6 feet), a ceiling 2.5 m (8.2 feet): both above these are
feet. Common practice, no source."""

_USUAL_M = 10.0
"""Rooms and distances in them are rarely longer; a number is read in the largest unit in which
it stays below."""

_OTHER_UNITS = (("feet", 0.3048), ("centimetres", 0.01), ("millimetres", 0.001))


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
        advice = _likely_slip(table) or "correct it in the file (lengths in metres)"
        msg = f"{path}: {problem}; {advice}"
        raise RoomFileError(msg) from problem


def _likely_slip(table: _RoomTable) -> str | None:
    """Return which slip would explain a file that can't be, and what to write."""
    if WARMEST_C < table.temperature_c <= 1.8 * WARMEST_C + 32:
        celsius = (table.temperature_c - 32) / 1.8
        return f"if that is in degrees Fahrenheit, write {celsius:.1f}"
    name, value = max(_lengths(table), key=lambda one: one[1] if math.isfinite(one[1]) else 0.0)
    for unit, in_metres in _OTHER_UNITS:
        if value > SIZE_RANGE_M[1] and value * in_metres <= _USUAL_M:
            return f"{name} {value:g} reads like {unit}, and would be {value * in_metres:.2f}"
    return _exchanged_sides_slip(table)


def _exchanged_sides_slip(table: _RoomTable) -> str | None:
    """Return the question whether length and width are exchanged, where all would then fit."""
    if table.length_m is None or table.width_m is None or table.length_m == table.width_m:
        return None
    turned = msgspec.structs.replace(table, length_m=table.width_m, width_m=table.length_m)
    if _all_stands_inside(table) or not _all_stands_inside(turned):
        return None
    return (
        "are length_m and width_m exchanged? Then everything would stand inside: the length runs "
        "from the front wall to the rear wall"
    )


def _all_stands_inside(table: _RoomTable) -> bool:
    """Return whether a file's room is one, and its places stand in it."""
    try:
        require_inside(_room(table), _own_places(table))
    except ValueError:
        return False
    return True


def _lengths(table: _RoomTable) -> list[tuple[str, float]]:
    """Return the lengths that a file gives, with their names."""
    named = [(name, getattr(table, name)) for name in ("length_m", "width_m", "height_m")]
    for place in ("left", "right", "seat"):
        at = getattr(table, place)
        if at is not None:
            named += [(f"{place}: {name}", getattr(at, name)) for name in ("x_m", "y_m", "z_m")]
    return [(name, value) for name, value in named if value is not None]


def _require_metres(table: _RoomTable) -> None:
    """Refuse a head that high under a ceiling that high: feet, of which both are usual."""
    head_m = None if table.seat is None else table.seat.z_m
    if table.height_m > HIGH_CEILING_M and head_m is not None and head_m > HIGH_HEAD_M:
        foot_m = dict(_OTHER_UNITS)["feet"]
        msg = (
            f"the head {head_m:g} above the floor under a ceiling at {table.height_m:g} reads like "
            f"feet; in metres these are {head_m * foot_m:.2f} and {table.height_m * foot_m:.2f}"
        )
        raise ValueError(msg)


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
    _require_metres(table)
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
