"""Files of other schemas: led to this program's by pure functions, or refused in one sentence.

Conventions: each file that the program writes for itself has a whole number ``schema``. A step
takes the content of one schema, as TOML has it, and returns that of the next; it changes nothing
in place and touches no file. Until a release every schema is 1: a new key is an optional field,
and there is no step.
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
Step = Callable[[Content], Content]

Table = TypeVar("Table", bound=msgspec.Struct)

STEPS: Final[Mapping[tuple[str, int], Step]] = {}
"""From a kind of file and its schema to the step that leads to the next one."""

HINT: Final = "mend the file, or copy it again from where it was made"


class _Version(msgspec.Struct):
    """What is read first: another version's file may differ in everything else."""

    schema: int


def migrate_content(
    content: Content, *, kind: str, newest: int, steps: Mapping[tuple[str, int], Step] = STEPS
) -> Content:
    """Return the content of a file as the newest schema has it.

    Parameters
    ----------
    content : mapping
        As TOML has it, with the key ``schema``; it stays as it is.
    kind : str
        Which file it is.
    newest : int
    steps : mapping

    Returns
    -------
    mapping
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
        found = {**step(found), "schema": found["schema"] + 1}
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
    """Read a TOML file, of the newest schema or of one from which steps lead to it.

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
        What to do when it is damaged.

    Returns
    -------
    table
        An instance of it; the file stays as it is.

    Raises
    ------
    MeasureError
        Of the type `error`, if it can't be read, is damaged, or has another schema.
    """
    content = load_toml(path, error=error, what=what or f"a logbook's file of a {kind}", hint=hint)
    found = toml_record(content, _Version, path=path, error=error, hint=hint).schema
    if found == newest:
        return toml_record(content, table, path=path, error=error, hint=hint)
    try:
        return convert_content(
            migrate_content(content, kind=kind, newest=newest, steps=steps), table
        )
    except msgspec.ValidationError as problem:
        msg = f"{path}, of the older schema {found}: {problem}; {hint}"
        raise error(msg) from problem
    except ValueError as problem:
        raise error(another_schema(path, found, newest)) from problem


def another_schema(path: Path, found: object, expected: int) -> str:
    """Return the sentence that refuses a file whose schema this program doesn't read."""
    return (
        f"{path} has schema {found}, but this program reads {expected}: use the version of "
        "apexline that wrote it, or make the file again with this one"
    )
