"""What is said of a take after it was made: tags, remarks, photographs.

It stands in ``remarks.toml`` inside the take's folder, so that it goes with the take;
``take.toml`` itself is never touched again.
"""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

import msgspec
import tomli_w

from measure.errors import LogbookError
from measure.files.migration import read_versioned
from measure.files.output import text_writer, write_whole
from measure.files.system import sync_file, sync_folder
from measure.logbook.folder import Logbook
from measure.logbook.names import same_folder
from measure.takes.names import FACTS, REMARKS, folder_name

SCHEMA: Final = 1

_HEAD: Final = "# What was said of this take. docs/logbook.md explains it.\n"


class Remark(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One remark: when it was written, and its text."""

    written: datetime
    text: str


class Remarks(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All that is said of a take.

    Attributes
    ----------
    schema : int
    tags : tuple of str
        In alphabetical order, none twice.
    photographs : tuple of str
        Files in the take's folder.
    remarks : tuple of Remark
        The oldest first.
    """

    schema: int = SCHEMA
    tags: tuple[str, ...] = ()
    photographs: tuple[str, ...] = ()
    remarks: tuple[Remark, ...] = ()


def take_path(logbook: Logbook, name: str) -> Path:
    """Return the folder of a finished take.

    Parameters
    ----------
    logbook : Logbook
    name : str
        As given when it was made, or its folder's.

    Returns
    -------
    Path

    Raises
    ------
    LogbookError
        If there is none.
    """
    found = same_folder(logbook.takes, folder_name(name))
    if found is None or not (found / FACTS).is_file():
        msg = f"there is no take {name} in {logbook.path}: `apexline log` lists them"
        raise LogbookError(msg)
    return found


def read_remarks(take: Path) -> Remarks:
    """Return what is said of a take; nothing where there is no file.

    Raises
    ------
    LogbookError
        If the file is damaged.
    """
    path = take / REMARKS
    if not path.exists():
        return Remarks()
    return read_versioned(path, Remarks, kind="remark", newest=SCHEMA)


def add_remarks(
    logbook: Logbook,
    take: Path,
    *,
    add_tags: Sequence[str] = (),
    drop_tags: Sequence[str] = (),
    texts: Sequence[str] = (),
    photographs: Sequence[Path] = (),
) -> Remarks:
    """Say something of a take.

    Parameters
    ----------
    logbook : Logbook
    take : Path
        Its folder.
    add_tags, drop_tags : sequence of str
    texts : sequence of str
        Remarks to add.
    photographs : sequence of Path
        Files to copy into the take's folder.

    Returns
    -------
    Remarks
        All that is said now.

    Raises
    ------
    LogbookError
        If a photograph can't be copied or is there already, or nothing can be written.
    """
    now = datetime.now().astimezone().replace(microsecond=0)
    with logbook.locked():
        said = read_remarks(take)
        names = [_keep_photograph(take, source) for source in photographs]
        said = Remarks(
            tags=tuple(sorted({*said.tags, *add_tags} - set(drop_tags))),
            photographs=(*said.photographs, *names),
            remarks=(*said.remarks, *(Remark(written=now, text=text) for text in texts)),
        )
        write_whole(take / REMARKS, text_writer(remarks_text(said)))
        sync_file(take / REMARKS)
        sync_folder(take)
    return said


def _keep_photograph(take: Path, source: Path) -> str:
    """Copy a photograph into a take's folder, and return its name there."""
    name = f"photograph-{folder_name(source.name)}"
    target = take / name
    if target.exists():
        msg = f"{target} is there already, and is not replaced: rename {source}"
        raise LogbookError(msg)

    def copy(temporary: Path) -> None:
        shutil.copyfile(source, temporary)

    if not source.is_file():
        msg = f"{source} isn't a file: give a photograph"
        raise LogbookError(msg)
    write_whole(target, copy)
    sync_file(target)
    return name


def remarks_text(said: Remarks) -> str:
    """Return the file's text."""
    content = {
        key: value
        for key, value in msgspec.to_builtins(said, builtin_types=(datetime,)).items()
        if value != []
    }
    return _HEAD + tomli_w.dumps(content)
