"""The room file: sizes, air, surfaces, and where loudspeakers and seat stand.

Conventions: x from the left wall (facing the loudspeakers), y from the front wall, z
above the floor, all in metres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import msgspec

from analysis.air import Air, air_at
from analysis.room import (
    SURFACES,
    Loudspeaker,
    Point,
    Positions,
    Room,
    Surface,
    require_inside,
)
from measure.errors import RoomFileError
from measure.toml_file import read_toml

THERMOMETER_STD_C = 1.0
"""One sigma of a room thermometer: common practice, no source."""


class _Absorption(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[absorption]``."""

    front: float | None = None
    rear: float | None = None
    left: float | None = None
    right: float | None = None
    floor: float | None = None
    ceiling: float | None = None


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

    length_m: float
    width_m: float
    height_m: float
    temperature_c: float
    left: _Speaker
    right: _Speaker
    seat: _Seat
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
    """

    room: Room
    positions: Positions
    air: Air


def read_room(path: Path) -> RoomFile:
    """Read a room file.

    Parameters
    ----------
    path : Path

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
        return _built(table)
    except ValueError as problem:
        msg = f"{path}: {problem}; correct it in the file (lengths in metres)"
        raise RoomFileError(msg) from problem


def _known(table: _Absorption | None) -> dict[Surface, float] | None:
    """Return the surfaces that the file names."""
    if table is None:
        return None
    values = {surface: getattr(table, surface) for surface in SURFACES}
    return {surface: value for surface, value in values.items() if value is not None}


def _built(table: _RoomTable) -> RoomFile:
    """Return the records of a table, which refuse what is impossible."""
    room = Room(
        length_m=table.length_m,
        width_m=table.width_m,
        height_m=table.height_m,
        absorption=_known(table.absorption),
    )
    positions = Positions(
        left=_loudspeaker("left", table.left),
        right=_loudspeaker("right", table.right),
        seat=_point("seat", table.seat),
    )
    require_inside(room, positions)
    air = air_at(
        table.temperature_c,
        temperature_std_c=THERMOMETER_STD_C,
        relative_humidity_percent=table.relative_humidity_percent,
    )
    return RoomFile(room=room, positions=positions, air=air)


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
