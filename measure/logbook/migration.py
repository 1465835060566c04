"""Files of older versions: read by pure functions that make a newer content of an older one.

Conventions: each file of a logbook has a whole number ``schema``. A step takes the content
of one schema, as TOML has it, and returns that of the next; it changes nothing in place and
touches no file. What is read is as new as the program; the old file stays as it is until
something in it is changed, and then goes to the bin.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

import msgspec

from measure.errors import LogbookError
from measure.toml_file import read_toml

Content = Mapping[str, Any]
Step = Callable[[Content], dict[str, Any]]

Table = TypeVar("Table", bound=msgspec.Struct)

STEPS: Final[Mapping[tuple[str, int], Step]] = {}
"""From a kind of file and its schema to the step that leads to the next one. All kinds are
at their first schema yet; tests/measure/logbook holds one file of each as it was written."""

HINT: Final = "mend the file, or copy it again from where it was made"


class _Version(msgspec.Struct):
    """What is read first: another version's file may differ in everything else."""

    schema: int


def migrated(
    content: Content, *, kind: str, newest: int, steps: Mapping[tuple[str, int], Step] = STEPS
) -> dict[str, Any]:
    """Return the content of a file as the newest schema has it.

    Parameters
    ----------
    content : mapping
        As TOML has it, with the key ``schema``.
    kind : str
        Which file it is.
    newest : int
    steps : mapping

    Returns
    -------
    dict
        A new one.

    Raises
    ------
    ValueError
        If it is newer than `newest`, or no step leads on.
    """
    found = dict(content)
    while found["schema"] != newest:
        step = steps.get((kind, found["schema"]))
        if found["schema"] > newest or step is None:
            msg = f"schema {found['schema']} of a {kind} must lead to {newest}"
            raise ValueError(msg)
        found = step(found) | {"schema": found["schema"] + 1}
    return found


def read_versioned(
    path: Path,
    table: type[Table],
    *,
    kind: str,
    newest: int,
    steps: Mapping[tuple[str, int], Step] = STEPS,
) -> Table:
    """Read a file of the logbook, of this or an older schema.

    Parameters
    ----------
    path : Path
    table : type
        A msgspec record of the newest schema.
    kind : str
        Which file it is.
    newest : int
    steps : mapping

    Returns
    -------
    table
        An instance of it.

    Raises
    ------
    LogbookError
        If it can't be read, is damaged, or is a newer version's.
    """
    what = f"a logbook's file of a {kind}"
    found = read_toml(path, _Version, error=LogbookError, what=what, hint=HINT)
    if found.schema == newest:
        return read_toml(path, table, error=LogbookError, what=what, hint=HINT)
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        return msgspec.convert(migrated(content, kind=kind, newest=newest, steps=steps), type=table)
    except msgspec.ValidationError as problem:
        msg = f"{path}, of the older schema {found.schema}: {problem}; {HINT}"
        raise LogbookError(msg) from problem
    except ValueError as problem:
        msg = f"{path} has schema {found.schema}, but this program reads {newest}: update it"
        raise LogbookError(msg) from problem
