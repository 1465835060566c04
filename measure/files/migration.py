"""Files of older versions: read by pure functions that make a newer content of an older one.

Conventions: each file of a logbook has a whole number ``schema``. A step takes the content
of one schema, as TOML has it, and returns that of the next; it changes nothing in place and
touches no file. What is read is as new as the program; the old file stays as it is until
something in it is changed, and then goes to the bin.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

import msgspec

from measure.errors import LogbookError, MeasureError
from measure.files.toml_file import load_toml, toml_record
from measure.files.typed_records import convert_content

Content = Mapping[str, Any]
Step = Callable[[Content], dict[str, Any]]

Table = TypeVar("Table", bound=msgspec.Struct)


def take_2(content: Content) -> dict[str, Any]:
    """Return the facts of a take as schema 2 has them, from those of schema 1.

    Schema 2 can keep the microphone's correction itself. Of schema 1 only its name is known,
    and which sign it had is not, so nothing is made up: the new keys stay out.
    """
    return dict(content)


def move_2(content: Content) -> dict[str, Any]:
    """Return a move as schema 2 has it, from one of schema 1.

    Schema 2 can also keep the surveys before and after it and its steps; there were none.
    """
    return dict(content)


STEPS: Final[Mapping[tuple[str, int], Step]] = {("take", 1): take_2, ("move", 1): move_2}
"""From a kind of file and its schema to the step that leads to the next one. The other kinds
are at their first schema yet; tests/measure/logbook/frozen holds each as it was written."""

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
    error: type[MeasureError] = LogbookError,
    what: str | None = None,
    hint: str = HINT,
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
    error : type
        The error to raise.
    what : str, optional
        What the file is, with its article, for the messages.
    hint : str
        What to do when it is wrong.

    Returns
    -------
    table
        An instance of it.

    Raises
    ------
    MeasureError
        Of the type `error`, if it can't be read, is damaged, or is a newer version's.
    """
    content = load_toml(path, error=error, what=what or f"a logbook's file of a {kind}", hint=hint)
    found = toml_record(content, _Version, path=path, error=error, hint=hint)
    if found.schema == newest:
        return toml_record(content, table, path=path, error=error, hint=hint)
    try:
        return convert_content(migrated(content, kind=kind, newest=newest, steps=steps), table)
    except msgspec.ValidationError as problem:
        msg = f"{path}, of the older schema {found.schema}: {problem}; {hint}"
        raise error(msg) from problem
    except ValueError as problem:
        msg = f"{path} has schema {found.schema}, but this program reads {newest}: update it"
        raise error(msg) from problem
