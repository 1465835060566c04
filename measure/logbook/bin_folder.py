"""Throwing away, which moves to the logbook's bin, and putting back.

Nothing is deleted: what was thrown away stands in ``bin/`` under the moment it was, with the
place it came from, until a person empties the bin.
"""

from __future__ import annotations

from datetime import datetime
from itertools import count
from pathlib import Path
from typing import Final

from measure.errors import LogbookError
from measure.files.system import sync_folder
from measure.logbook.folder import BIN, Logbook

_MOMENT: Final = "%Y%m%d-%H%M%S"


def throw_away(logbook: Logbook, path: Path) -> Path:
    """Move a folder of the logbook to its bin.

    Parameters
    ----------
    logbook : Logbook
    path : Path
        Such as ``takes/NAME``.

    Returns
    -------
    Path
        Where it is now: ``bin/MOMENT/takes/NAME``.

    Raises
    ------
    LogbookError
        If it isn't the logbook's, or can't be moved.
    """
    inside = _inside(logbook, path)
    if not path.exists() or len(inside.parts) < 2 or inside.parts[0] == BIN:
        msg = f"{path} isn't an entry or a take of {logbook.path}"
        raise LogbookError(msg)
    moment = datetime.now().astimezone().strftime(_MOMENT)
    with logbook.locked():
        for number in count(1):
            place = logbook.bin / (moment if number == 1 else f"{moment}-{number}")
            if not (place / inside).exists():
                break
        (place / inside).parent.mkdir(parents=True, exist_ok=True)
        path.rename(place / inside)
        sync_folder(path.parent)
    return place / inside


def put_back(logbook: Logbook, path: Path) -> Path:
    """Move what was thrown away to where it came from.

    Parameters
    ----------
    logbook : Logbook
    path : Path
        What `throw_away` returned.

    Returns
    -------
    Path

    Raises
    ------
    LogbookError
        If it isn't in the bin, or its place is taken.
    """
    inside = _inside(logbook, path)
    if not path.exists() or len(inside.parts) < 4 or inside.parts[0] != BIN:
        msg = f"{path} isn't in the bin of {logbook.path}"
        raise LogbookError(msg)
    target = logbook.path.joinpath(*inside.parts[2:])
    with logbook.locked():
        if target.exists():
            msg = f"{target} is there: throw that one away first"
            raise LogbookError(msg)
        target.parent.mkdir(parents=True, exist_ok=True)
        path.rename(target)
        sync_folder(target.parent)
    return target


def bin_entries(logbook: Logbook) -> list[Path]:
    """Return what is in the bin, the oldest first."""
    return sorted(logbook.bin.glob("*/*/*")) if logbook.bin.is_dir() else []


def _inside(logbook: Logbook, path: Path) -> Path:
    """Return a path as seen from the logbook."""
    try:
        return path.resolve().relative_to(logbook.path.resolve())
    except ValueError as problem:
        msg = f"{path} isn't in the logbook {logbook.path}"
        raise LogbookError(msg) from problem
