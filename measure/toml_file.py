"""Reading a TOML file that a person wrote, and saying plainly what is wrong in it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Final, TypeVar

import msgspec

from measure.errors import MeasureError

Table = TypeVar("Table", bound=msgspec.Struct)

LARGEST_BYTES: Final = 1_000_000
"""A person's table is a few kilobytes; a sound file given by mistake is not."""

_DECIMAL_COMMA: Final = re.compile(r"=\s*[-+]?\d+,\d")
_PLACE: Final = re.compile(r" - at `\$\.?([^`]*)`$")
_LINE: Final = re.compile(r"at line (\d+)")


def read_toml(
    path: Path, table: type[Table], *, error: type[MeasureError], what: str, hint: str
) -> Table:
    """Read a TOML file into a validated record.

    Parameters
    ----------
    path : Path
    table : type
        A msgspec record; its types, names and bounds are enforced.
    error : type
        The error to raise.
    what : str
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
        Of the type `error`, for a file that can't be read, isn't UTF-8, isn't TOML, or
        has keys missing, unknown or of the wrong kind. Only the first fault is named.
    """
    text = _text(path, error=error, what=what, hint=hint)
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        msg = f"{path} isn't {what}: {_syntax(str(problem), text)}; {hint}"
        raise error(msg) from problem
    try:
        return msgspec.convert(content, type=table)
    except msgspec.ValidationError as problem:
        msg = f"{path}: {_validation(str(problem))}; {hint}"
        raise error(msg) from problem


def _text(path: Path, *, error: type[MeasureError], what: str, hint: str) -> str:
    """Return the text of a small UTF-8 file."""
    try:
        if path.is_file() and path.stat().st_size > LARGEST_BYTES:
            msg = f"{path} is too large to be {what}; {hint}"
            raise error(msg)
        raw = path.read_bytes()
    except FileNotFoundError as problem:
        msg = f"{path} doesn't exist: check the name; {hint}"
        raise error(msg) from problem
    except IsADirectoryError as problem:
        msg = f"{path} is a folder: give {what} in it"
        raise error(msg) from problem
    except OSError as problem:
        msg = f"can't read {path} ({problem.strerror}): check its rights, or copy it elsewhere"
        raise error(msg) from problem
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = raw.count(b"\n", 0, problem.start) + 1
        msg = f"{path}, line {line}: isn't UTF-8 text; save it again as UTF-8"
        raise error(msg) from problem


def _syntax(problem: str, text: str) -> str:
    """Return a TOML complaint, with the usual cause where the line shows it."""
    place = _LINE.search(problem)
    lines = text.splitlines()
    if place and int(place[1]) <= len(lines) and _DECIMAL_COMMA.search(lines[int(place[1]) - 1]):
        return f"line {place[1]} has a decimal comma; TOML takes a point, as in 2.35"
    return problem[:1].lower() + problem[1:]


_KINDS: Final = {
    "float": "a number",
    "int": "a whole number",
    "str": "a text in quotes",
    "bool": "true or false",
    "object": "a table",
    "array": "a list",
}
"""What msgspec calls a type, and what a person does."""


def _validation(problem: str) -> str:
    """Return a validation complaint in a person's words, with the key that it is about."""
    place = _PLACE.search(problem)
    text = _PLACE.sub("", problem)
    text = re.sub(r"^Object missing required field `(.+)`$", r"the key \1 is missing", text)
    text = re.sub(r"^Object contains unknown field `(.+)`$", r"the key \1 isn't known", text)
    kinds = re.match(r"^Expected `(\w+)(?: \| null)?`, got `(\w+)`$", text)
    if kinds:
        wanted, got = (_KINDS.get(kind, kind) for kind in kinds.groups())
        text = f"must be {wanted}, not {got}"
    if not (place and place[1]):
        return text
    *tables, key = place[1].split(".")
    if kinds:
        return f"{'[' + '.'.join(tables) + '] ' if tables else ''}{key} {text}"
    return f"[{place[1]}]: {text}"
