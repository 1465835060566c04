"""Where a logbook is, and what makes a folder one.

A folder is a logbook if it holds ``logbook.toml``. Whatever changes something that is there
already does so under one lock, so that two programs at once lose nothing of each other's;
what is new is written beside its place and renamed, so that it is there whole or not at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

import msgspec

from measure.errors import LogbookError
from measure.files.migration import read_versioned
from measure.files.system import hold_lock, sync_file, sync_folder

MARK: Final = "logbook.toml"
TAKES: Final = "takes"
BIN: Final = "bin"
LOCK: Final = ".lock"

SCHEMA: Final = 1

PATIENCE_S: Final = 10.0
"""How long to wait for another program; what is done under the lock takes milliseconds."""

_HEAD: Final = "# An Apexline logbook. docs/logbook.md explains this folder.\n"


class _Mark(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What ``logbook.toml`` says."""

    schema: int
    made_by: str
    made: datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class Logbook:
    """A logbook.

    Attributes
    ----------
    path : Path
        Its folder.
    """

    path: Path

    @property
    def takes(self) -> Path:
        """The folder of its takes; it may not exist yet."""
        return self.path / TAKES

    @property
    def bin(self) -> Path:
        """The folder of what was thrown away; it may not exist yet."""
        return self.path / BIN

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Keep other programs from changing it for the block.

        Raises
        ------
        LogbookError
            If another holds it for too long, or the folder can't be written.
        """
        try:
            with hold_lock(self.path / LOCK, patience_s=PATIENCE_S):
                yield
        except TimeoutError as problem:
            msg = f"another program is writing in the logbook {self.path}: wait, and try again"
            raise LogbookError(msg) from problem
        except OSError as problem:
            msg = f"can't write in the logbook {self.path} ({problem.strerror or problem})"
            raise LogbookError(msg + ": check its rights, or make room") from problem


def new_logbook(path: Path) -> Logbook:
    """Make a folder a logbook.

    Parameters
    ----------
    path : Path
        Made if it doesn't exist. What it holds stays as it is.

    Returns
    -------
    Logbook

    Raises
    ------
    LogbookError
        If it is a logbook already, or can't be written.
    """
    from importlib.metadata import version

    import tomli_w

    from measure.files.output import text_writer, write_whole

    if (path / MARK).exists():
        msg = f"{path} is a logbook already"
        raise LogbookError(msg)
    try:
        (path / TAKES).mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        msg = f"can't make the logbook {path} ({problem.strerror}): give another folder"
        raise LogbookError(msg) from problem
    made = datetime.now().astimezone().replace(microsecond=0)
    content = {"schema": SCHEMA, "made_by": f"apexline {version('apexline')}", "made": made}
    write_whole(path / MARK, text_writer(_HEAD + tomli_w.dumps(content)))
    sync_file(path / MARK)
    sync_folder(path)
    return Logbook(path=path)


def is_logbook(path: Path) -> bool:
    """Return whether a folder is a logbook."""
    return (path / MARK).is_file()


def open_logbook(path: Path) -> Logbook:
    """Open a logbook.

    Parameters
    ----------
    path : Path
        Its folder, or one inside it.

    Returns
    -------
    Logbook

    Raises
    ------
    LogbookError
        If it is none, or another version's.
    """
    for place in (path, *path.absolute().parents):
        if is_logbook(place):
            read_versioned(place / MARK, _Mark, kind="logbook", newest=SCHEMA)
            return Logbook(path=place)
    msg = f"{path} isn't a logbook: make one with `apexline log new DIR`, or give its folder"
    raise LogbookError(msg)


def takes_folder(folder: Path) -> Path:
    """Return where takes go when a person names a folder: into a logbook's own place for them.

    Parameters
    ----------
    folder : Path
        A logbook, or any folder.

    Returns
    -------
    Path
    """
    return folder / TAKES if is_logbook(folder) else folder
