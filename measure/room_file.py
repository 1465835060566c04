"""The room file: sizes, air, surfaces, and where loudspeakers and seat stand.

Conventions: x from the left wall (facing the loudspeakers), y from the front wall, z
above the floor, all in metres.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

import msgspec

from analysis.air import DEFAULT_TEMPERATURE_STD_C, Air, air_at
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
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as problem:
        msg = f"{path} isn't UTF-8 text: save it again as UTF-8"
        raise RoomFileError(msg) from problem
    except OSError as problem:
        msg = f"can't read the room file {path}: {problem.strerror}"
        raise RoomFileError(msg) from problem
    try:
        table = msgspec.convert(tomllib.loads(text), type=_RoomTable)
    except tomllib.TOMLDecodeError as problem:
        msg = f"{path}: {problem}; numbers take a point, as in 2.35, and one line a value"
        raise RoomFileError(msg) from problem
    except msgspec.ValidationError as problem:
        msg = f"{path}: {problem}; `apexline starter NEW.toml` writes one to compare with"
        raise RoomFileError(msg) from problem
    try:
        return _built(table)
    except ValueError as problem:
        msg = f"{path}: {problem}"
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
    speakers = [
        Loudspeaker(
            tweeter=Point(x_m=each.x_m, y_m=each.y_m, z_m=each.z_m), woofer_z_m=each.woofer_z_m
        )
        for each in (table.left, table.right)
    ]
    seat = Point(x_m=table.seat.x_m, y_m=table.seat.y_m, z_m=table.seat.z_m)
    positions = Positions(left=speakers[0], right=speakers[1], seat=seat)
    require_inside(room, positions)
    air = air_at(
        table.temperature_c,
        temperature_std_c=min(THERMOMETER_STD_C, DEFAULT_TEMPERATURE_STD_C),
        relative_humidity_percent=table.relative_humidity_percent,
    )
    return RoomFile(room=room, positions=positions, air=air)
