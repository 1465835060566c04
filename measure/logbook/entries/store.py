"""Entries on the disk: written whole under a name that is free, read back, changed.

An entry is a folder with ``entry.toml``, written last, and the files that came with it. It is
made beside its place as ``NAME.unfinished`` and renamed, so that a program that is killed
leaves the whole entry or none.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Generic, TypeVar

import msgspec
import tomli_w

from measure.errors import LogbookError, MeasureError
from measure.files.migration import read_versioned
from measure.files.output import text_writer, write_whole
from measure.files.system import sync_file, sync_folder
from measure.logbook.entries.entries import KIND_OF, SCHEMA, Entry
from measure.logbook.folder import Logbook
from measure.logbook.names import entry_folder_name, same_folder
from measure.takes.facts import field_comment
from measure.takes.names import UNFINISHED

ENTRY: Final = "entry.toml"

_Kind = TypeVar("_Kind", bound=Entry)


def folder_of(logbook: Logbook, table: type[Entry]) -> Path:
    """Return the folder of the entries of one kind; it may not exist yet."""
    return logbook.path / f"{KIND_OF[table]}s"


def add_entry(logbook: Logbook, entry: Entry, *, files: Mapping[str, Path] | None = None) -> Path:
    """Write a new entry.

    Parameters
    ----------
    logbook : Logbook
    entry : Entry
    files : mapping of str to Path, optional
        What is copied beside it, by the names that the entry gives.

    Returns
    -------
    Path
        Its folder.

    Raises
    ------
    LogbookError
        If there is one of that name, a file can't be copied, or nothing can be written.
    """
    kind = KIND_OF[type(entry)]
    place = folder_of(logbook, type(entry))
    wanted = place / entry_folder_name(entry.name, kind=kind)
    with logbook.locked():
        place.mkdir(exist_ok=True)
        taken = same_folder(place, wanted.name)
        if taken is not None:
            msg = f"there is a {kind} {taken} already, and none is ever replaced"
            raise LogbookError(msg + ": give another name")
        made = wanted.with_name(wanted.name + UNFINISHED)
        if made.exists():  # Left by a program that was killed: whole entries only are kept.
            shutil.rmtree(made)
        made.mkdir()
        try:
            _fill(made, entry, files or {})
            made.rename(wanted)
        except BaseException:
            shutil.rmtree(made, ignore_errors=True)
            raise
        sync_folder(place)
    return wanted


def _fill(made: Path, entry: Entry, files: Mapping[str, Path]) -> None:
    """Write what an entry's folder holds, its own file last."""
    for name, source in files.items():
        try:
            shutil.copyfile(source, made / name)
            sync_file(made / name)
        except OSError as problem:
            msg = f"can't keep {source} in the logbook ({problem.strerror}): check the file, or "
            raise LogbookError(msg + "make room") from problem
    write_whole(made / ENTRY, text_writer(entry_text(entry)))
    sync_file(made / ENTRY)
    sync_folder(made)


def change_entry(logbook: Logbook, entry: Entry) -> None:
    """Write an entry again, in the place of the one of its name.

    Raises
    ------
    LogbookError
        If there is none, or it can't be written.
    """
    kind = KIND_OF[type(entry)]
    path = folder_of(logbook, type(entry)) / entry_folder_name(entry.name, kind=kind)
    if not (path / ENTRY).is_file():
        msg = f"there is no {kind} {entry.name} in {logbook.path}"
        raise LogbookError(msg)
    with logbook.locked():
        write_whole(path / ENTRY, text_writer(entry_text(entry)))
        sync_file(path / ENTRY)
        sync_folder(path)


def read_entry(logbook: Logbook, table: type[_Kind], name: str) -> _Kind:
    """Read one entry by its name.

    Raises
    ------
    LogbookError
        If there is none, or it is damaged.
    """
    kind = KIND_OF[table]
    place = folder_of(logbook, table)
    found = same_folder(place, entry_folder_name(name, kind=kind))
    if found is None:
        known = ", ".join(sorted(path.name for path in _folders(place))) or "none yet"
        msg = f"there is no {kind} {name} in {logbook.path} (there are: {known})"
        raise LogbookError(msg)
    return read_entry_file(found / ENTRY, table)


def read_entry_file(path: Path, table: type[_Kind]) -> _Kind:
    """Read one entry's file.

    Raises
    ------
    LogbookError
        If it is damaged, or has another schema.
    """
    document = read_versioned(
        path,
        _Document[table],  # type: ignore[valid-type]
        kind=KIND_OF[table],
        newest=SCHEMA,
    )
    return document.entry


class _Document(
    msgspec.Struct, Generic[_Kind], frozen=True, kw_only=True, forbid_unknown_fields=True
):
    """What stands around an entry in its file."""

    schema: int
    kind: str
    entry: _Kind


def read_entries(logbook: Logbook, table: type[_Kind]) -> tuple[list[_Kind], list[MeasureError]]:
    """Read all entries of one kind; a damaged one is named and hides no other.

    Returns
    -------
    entries : list
        By name.
    problems : list of MeasureError
    """
    found: list[_Kind] = []
    problems: list[MeasureError] = []
    for folder in _folders(folder_of(logbook, table)):
        try:
            found.append(read_entry_file(folder / ENTRY, table))
        except MeasureError as problem:
            problems.append(problem)
    return sorted(found, key=lambda entry: entry.name.casefold()), problems


def _folders(place: Path) -> list[Path]:
    """Return the folders of complete entries."""
    if not place.is_dir():
        return []
    return [
        path
        for path in sorted(place.iterdir())
        if path.is_dir() and not path.name.endswith(UNFINISHED)
    ]


def entry_text(entry: Entry) -> str:
    """Return an entry's file: TOML, each key under the comment that says what it is."""
    kind = KIND_OF[type(entry)]
    lines = [
        f"# A {kind} in an Apexline logbook. docs/logbook.md explains it.",
        tomli_w.dumps({"schema": SCHEMA, "kind": kind}).strip(),
        "\n[entry]",
    ]
    for key in entry.__struct_fields__:
        value: Any = msgspec.to_builtins(
            getattr(entry, key), builtin_types=(datetime,), str_keys=True
        )
        if value is None or value in ([], ()):
            continue
        lines += [f"# {field_comment(type(entry), key)}", tomli_w.dumps({key: value}).strip()]
    return "\n".join(lines) + "\n"
