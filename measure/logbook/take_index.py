"""The takes of a logbook in a few milliseconds: what a list shows of each.

The files are the truth. What was read from them is remembered outside the logbook, in the
person's state folder, with size and time of each file; what changed since is read again. So
the logbook stays a plain folder, and a lost or damaged memory costs time only.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

import msgspec

from measure.errors import MeasureError
from measure.files.system import state_folder
from measure.files.typed_records import decode_json
from measure.logbook.folder import Logbook
from measure.takes.names import CUT_OFF, FACTS, READING, REASON, REMARKS, UNFINISHED

if TYPE_CHECKING:
    from measure.takes.facts import TakeFacts

MEMORY: Final = "logbooks"
_VERSION: Final = 1
_WATCHED: Final = (FACTS, REMARKS, READING)


class TakeLine(msgspec.Struct, frozen=True, kw_only=True):
    """What a list shows of a take.

    Attributes
    ----------
    folder : str
        Name of its folder.
    name : str
    started : datetime
    pair, room, place : str or None
    simulated : bool
    interrupted : str or None
        Why it ended early.
    tags : tuple of str
    remarks : tuple of str
    usable : bool or None
        Whether the reading was; None where there is none.
    arrival_mm, arrival_std_mm, level_db, level_std_db : float or None
        Left minus right; the arrival's sigma is that in the room.
    """

    folder: str
    name: str
    started: datetime
    pair: str | None = None
    room: str | None = None
    place: str | None = None
    simulated: bool = False
    tags: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    usable: bool | None = None
    arrival_mm: float | None = None
    arrival_std_mm: float | None = None
    level_db: float | None = None
    level_std_db: float | None = None
    interrupted: str | None = None


class Listed(msgspec.Struct, frozen=True, kw_only=True):
    """All takes of a logbook.

    Attributes
    ----------
    takes : tuple of TakeLine
        The oldest first.
    unfinished : tuple of (str, str)
        Folder and reason of each take that isn't complete.
    problems : tuple of str
        One sentence a damaged take.
    """

    takes: tuple[TakeLine, ...]
    unfinished: tuple[tuple[str, str], ...]
    problems: tuple[str, ...]


_Stamp = tuple[tuple[int, int], ...]


class _Known(msgspec.Struct, frozen=True):
    """What is remembered of a take."""

    stamp: _Stamp
    line: TakeLine


class _Memory(msgspec.Struct, frozen=True):
    """What is remembered of a logbook."""

    version: int
    logbook: str
    takes: dict[str, _Known]


class _Arrival(msgspec.Struct):
    left_minus_right_mm: float | None = None
    in_room_std_mm: float | None = None


class _Level(msgspec.Struct):
    left_minus_right_db: float | None = None
    std_db: float | None = None


class _Reading(msgspec.Struct):
    """The few keys of a reading that a list shows."""

    usable: bool = False
    arrival: _Arrival = msgspec.field(default_factory=_Arrival)
    level: _Level = msgspec.field(default_factory=_Level)


def list_takes(logbook: Logbook, *, tell: Callable[[str], None] = lambda _: None) -> Listed:
    """Return all takes of a logbook.

    Parameters
    ----------
    logbook : Logbook
    tell : callable
        Is given one sentence before many takes are read anew.

    Returns
    -------
    Listed
    """
    stamps, unfinished = _folders(logbook)
    memory = _read_memory(logbook)
    known = {
        name: memory[name]
        for name, stamp in stamps.items()
        if name in memory and memory[name].stamp == stamp
    }
    changed = stamps.keys() - known.keys()
    if len(changed) > 100:
        tell(f"Reading {len(changed)} takes for the first time")
    problems = []
    for name in sorted(changed):
        try:
            known[name] = _Known(stamps[name], read_line(logbook.takes / name))
        except MeasureError as problem:
            problems.append(str(problem))
    if changed or memory.keys() - stamps.keys():
        _remember(logbook, known)
    lines = sorted((one.line for one in known.values()), key=lambda one: (one.started, one.name))
    return Listed(takes=tuple(lines), unfinished=tuple(unfinished), problems=tuple(problems))


def _folders(logbook: Logbook) -> tuple[dict[str, _Stamp], list[tuple[str, str]]]:
    """Return the stamps of complete takes, and the unfinished ones with their reasons."""
    stamps, unfinished = {}, []
    if not logbook.takes.is_dir():
        return {}, []
    with os.scandir(logbook.takes) as entries:
        for entry in entries:
            if not entry.is_dir():
                continue
            stamp = tuple(_stamp(f"{entry.path}/{file}") for file in _WATCHED)
            if stamp[0] == (0, 0) or entry.name.endswith(UNFINISHED):
                unfinished.append((entry.name, unfinished_reason(Path(entry.path))))
            else:
                stamps[entry.name] = stamp
    return stamps, sorted(unfinished)


def _stamp(path: str) -> tuple[int, int]:
    """Return size and time of a file, zeros where it isn't there."""
    try:
        found = os.stat(path)  # noqa: PTH116  three thousand of them: Path costs twice as much
    except OSError:
        return (0, 0)
    return (found.st_size, found.st_mtime_ns)


def unfinished_reason(path: Path) -> str:
    """Return why a take isn't complete."""
    import tomllib

    try:
        return str(tomllib.loads((path / REASON).read_text(encoding="utf-8"))["reason"])
    except (OSError, ValueError, KeyError):
        return CUT_OFF


def read_line(take: Path, known: TakeFacts | None = None) -> TakeLine:
    """Return what a list shows of one take, from its files.

    Parameters
    ----------
    take : Path
        Its folder.
    known : TakeFacts, optional
        What ``take.toml`` says, where it was read already.

    Returns
    -------
    TakeLine

    Raises
    ------
    MeasureError
        If one of them is damaged.
    """
    from measure.errors import ReadingFileError
    from measure.logbook.remarks import read_remarks
    from measure.takes.facts import read_take_toml

    facts = read_take_toml(take / FACTS).facts if known is None else known
    said = read_remarks(take)
    reading = _Reading()
    usable: bool | None = None
    if (take / READING).is_file():
        try:
            reading = decode_json((take / READING).read_bytes(), _Reading)
            usable = reading.usable
        except (OSError, msgspec.MsgspecError) as problem:
            msg = f"{take / READING} is damaged ({problem}): read the recording again"
            raise ReadingFileError(msg) from problem
    return TakeLine(
        folder=take.name,
        name=facts.take.name,
        started=facts.take.started,
        pair=facts.take.pair,
        room=facts.take.room,
        place=facts.take.place,
        simulated=facts.device.simulated,
        interrupted=facts.take.interrupted,
        tags=said.tags,
        remarks=tuple(one.text for one in said.remarks),
        usable=usable,
        arrival_mm=reading.arrival.left_minus_right_mm,
        arrival_std_mm=reading.arrival.in_room_std_mm,
        level_db=reading.level.left_minus_right_db,
        level_std_db=reading.level.std_db,
    )


def _place(logbook: Logbook) -> str:
    """Return where a logbook is, whatever bytes its path has."""
    return os.fsencode(logbook.path.resolve()).hex()


def _memory_file(logbook: Logbook) -> Path:
    """Return where a logbook is remembered."""
    # Two logbooks under one key cost time only: `_read_memory` holds the path against it.
    key = zlib.crc32(os.fsencode(logbook.path.resolve()))
    return state_folder() / MEMORY / f"{key:08x}.json"


def _read_memory(logbook: Logbook) -> dict[str, _Known]:
    """Return what is remembered; nothing where the memory is missing or damaged."""
    try:
        memory = decode_json(_memory_file(logbook).read_bytes(), _Memory)
    except (OSError, msgspec.MsgspecError):
        return {}
    same = memory.version == _VERSION and memory.logbook == _place(logbook)
    return memory.takes if same else {}


def _remember(logbook: Logbook, known: dict[str, _Known]) -> None:
    """Remember what was read; without a place for it the next list takes longer."""
    from measure.files.output import bytes_writer, write_whole

    path = _memory_file(logbook)
    try:
        raw = msgspec.json.encode(_Memory(_VERSION, _place(logbook), known))
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, bytes_writer(raw))
    except (OSError, ValueError, MeasureError):  # ValueError: a name that is no Unicode
        return
