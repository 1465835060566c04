"""The measurement plan's file: at which places to measure, and which readings were made there.

Conventions: a TOML file with one ``[[stop]]`` a place: `front_wall_m`, `half_spread_m` and
`seat_m`, and `reading`, the name of a saved reading beside the file, empty until it is made.
What a person filled in is never removed; only stops without a reading are planned anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np

from analysis.basics.arrays import Complex, Float
from analysis.placement.band_levels import curve_band_levels_db
from analysis.placement.fit.band_timing import response_coherence
from analysis.placement.fit.room_fit import MeasuredPlace
from analysis.placement.places import places_at
from analysis.room.room import Positions, Room
from measure.errors import ReadingFileError, RoomFileError
from measure.files.output import text_writer, write_whole
from measure.files.readings.document import load_document, responses_path
from measure.files.readings.snapshot import saved_responses
from measure.files.toml_file import read_toml


class _PlanTableEntry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    front_wall_m: float
    half_spread_m: float
    seat_m: float
    reading: str = ""


class _PlanTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    stop: list[_PlanTableEntry] = []


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanEntry:
    """A place of the measurement plan.

    Attributes
    ----------
    reading : str
        Name of the reading; empty where none was made.
    """

    front_wall_m: float
    half_spread_m: float
    seat_m: float
    reading: str = ""


def read_measurement_plan(path: Path) -> tuple[PlanEntry, ...]:
    """Read a measurement plan; a missing file has no places.

    Raises
    ------
    RoomFileError
        If it isn't a measurement plan.
    """
    if not path.exists():
        return ()
    table = read_toml(
        path,
        _PlanTable,
        error=RoomFileError,
        what="a walk file",
        hint="`apexline place ROOM.toml --walk NEW.toml` writes one",
    )
    return tuple(PlanEntry(**msgspec.structs.asdict(one)) for one in table.stop)


def write_measurement_plan(path: Path, entries: Sequence[PlanEntry]) -> None:
    """Write a measurement plan, whole or not at all."""
    import tomli_w

    head = (
        "# Places to measure, in order. After each reading write its file name (what\n"
        "# `apexline read --json` saved, beside this file) into its `reading`.\n\n"
    )
    table = {
        "stop": [{name: getattr(one, name) for name in PlanEntry.__slots__} for one in entries]
    }
    write_whole(path, text_writer(head + tomli_w.dumps(table)))


def read_planned_place(
    path: Path, entry: PlanEntry, room: Room, positions: Positions
) -> MeasuredPlace:
    """Read what was measured at a place of the plan in the file `path`.

    Raises
    ------
    ReadingFileError
        If the reading is missing or has no bass.
    """
    where = places_at(
        room,
        positions,
        np.array([entry.front_wall_m]),
        np.array([entry.half_spread_m]),
        np.array([entry.seat_m]),
    )
    reading = path.parent / entry.reading
    left, right = _read_band_levels(reading)
    return MeasuredPlace(
        left_m=where.left_m[0],
        right_m=where.right_m[0],
        seat_m=where.listener_m[0],
        left_db=left,
        right_db=right,
        coherence=_read_coherence(reading),
    )


def read_measured_place(path: Path, room: Room, positions: Positions) -> MeasuredPlace:
    """Read a reading whose places stand in itself (it was made with ``--room``).

    Raises
    ------
    ReadingFileError
        If it holds no places or no bass, or they lie outside the room.
    """
    told = load_document(path).get("room")
    if not told:
        msg = f"{path} holds no places: read it again with --room, or name it in a walk file"
        raise ReadingFileError(msg)
    tweeters = [np.array(told[key], float) for key in ("left_m", "right_m", "seat_m")]
    if not room.holds(np.stack(tweeters)).all():
        msg = f"{path} was made at places outside this room: give the readings of this room"
        raise ReadingFileError(msg)
    tweeters[0][2] = positions.left.woofer.z_m
    tweeters[1][2] = positions.right.woofer.z_m
    left, right = _read_band_levels(path)
    return MeasuredPlace(
        left_m=tweeters[0],
        right_m=tweeters[1],
        seat_m=tweeters[2],
        left_db=left,
        right_db=right,
        coherence=_read_coherence(path),
    )


def _read_band_levels(path: Path) -> tuple[Float, Float]:
    """Read the band levels of left and right of a saved reading."""
    bass = load_document(path)["bass"]
    sides = []
    for side in ("left", "right"):
        level = [np.nan if value is None else value for value in bass[side]["level_db"]]
        if not level:
            msg = f"{path} has no bass of the {side} loudspeaker: measure again with both"
            raise ReadingFileError(msg)
        sides.append(curve_band_levels_db(np.array(bass[side]["frequency_hz"]), np.array(level)))
    return sides[0], sides[1]


def _read_coherence(path: Path) -> Complex | None:
    """Read the complex coherence of left and right; None where their timing isn't known.

    Known where the impulse responses stand beside the reading and no check withheld an arrival.
    """
    document = load_document(path)
    arrival = document.get("arrival") or {}
    heard = all(arrival.get(f"{side}_s") is not None for side in ("left", "right"))
    if not heard or not responses_path(path).exists():
        return None
    left, right = saved_responses(path, document["impulse_responses"])
    windows = [document["bass"][side]["window_s"] for side in ("left", "right")]
    if left is None or right is None or None in windows:
        return None
    return response_coherence(
        left, right, left_window_s=tuple(windows[0]), right_window_s=tuple(windows[1])
    )
