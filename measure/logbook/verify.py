"""Whether everything in a logbook is whole: each file read, each recording's checksum taken.

Of a take that is the facts, remarks, reading, sheet and correction, and the recording, byte
by byte. What can be made again from these, the programme's sound and the impulse responses,
is not read. Takes are read several at a time: the checksum runs beside the reading of others.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from measure.errors import MeasureError
from measure.logbook.entries.entries import KINDS
from measure.logbook.entries.store import ENTRY, folder_of, read_entry_file
from measure.logbook.folder import Logbook
from measure.logbook.names import fold_name
from measure.logbook.take_index import read_line, unfinished_reason
from measure.takes.names import (
    FACTS,
    MICROPHONE,
    PROGRAMME,
    READING,
    RECORDING,
    REMARKS,
    UNFINISHED,
)
from measure.takes.sheet import sheet_path
from measure.takes.stored import read_take

MOST_AT_ONCE: Final = 8
"""A disk is busy with a few readers; more would only wait (common practice, no source)."""

_READ: Final = (FACTS, REMARKS, READING, MICROPHONE, sheet_path(Path(PROGRAMME)).name, RECORDING)


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """What was found of one thing in the logbook.

    Attributes
    ----------
    path : Path
    verdict : {"whole", "unfinished", "damaged"}
    text : str
        What is wrong; empty where nothing is.
    n_bytes : int
        How much was read.
    """

    path: Path
    verdict: Literal["whole", "unfinished", "damaged"]
    text: str = ""
    n_bytes: int = 0


def verify(logbook: Logbook) -> Iterator[Finding]:
    """Read everything in a logbook but its bin.

    Parameters
    ----------
    logbook : Logbook

    Yields
    ------
    Finding
        One for each entry and take; what is damaged stops nothing.
    """
    for table in KINDS.values():
        for path in _folders(folder_of(logbook, table)):
            if path.name.endswith(UNFINISHED):
                text = "the program ended before the entry was complete: add it again"
                yield Finding(path=path, verdict="unfinished", text=text)
                continue
            try:
                read_entry_file(path / ENTRY, table)
                yield Finding(path=path, verdict="whole")
            except MeasureError as problem:
                yield Finding(path=path, verdict="damaged", text=str(problem))
    takes = _folders(logbook.takes)
    with ThreadPoolExecutor(min(os.cpu_count() or 1, MOST_AT_ONCE)) as several:
        yield from several.map(_take, takes)
    yield from _find_name_clashes(takes)


def _folders(place: Path) -> list[Path]:
    """Return the folders in a folder."""
    return [path for path in sorted(place.iterdir()) if path.is_dir()] if place.is_dir() else []


def _take(path: Path) -> Finding:
    """Return what is found of one take."""
    if path.name.endswith(UNFINISHED) or not (path / FACTS).exists():
        return Finding(path=path, verdict="unfinished", text=unfinished_reason(path))
    with os.scandir(path) as files:
        n_bytes = sum(file.stat().st_size for file in files if file.name in _READ)
    try:
        read_line(path, read_take(path, verify=True).facts)
    except MeasureError as problem:
        return Finding(path=path, verdict="damaged", text=str(problem), n_bytes=n_bytes)
    return Finding(path=path, verdict="whole", n_bytes=n_bytes)


def _find_name_clashes(takes: list[Path]) -> Iterator[Finding]:
    """Yield takes whose names Windows and macOS take for one."""
    seen: dict[str, Path] = {}
    for path in takes:
        other = seen.setdefault(fold_name(path.name), path)
        if other is not path:
            text = f"differs from {other.name} in capitals only: rename one before copying"
            yield Finding(path=path, verdict="damaged", text=text)
