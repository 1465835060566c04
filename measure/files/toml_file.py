"""Reading a TOML file that a person wrote, and saying plainly what is wrong in it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Final, TypeVar, get_args, get_type_hints

import msgspec

from measure.errors import MeasureError
from measure.files.typed_records import convert_content

Table = TypeVar("Table", bound=msgspec.Struct)

LARGEST_BYTES: Final = 1_000_000
"""A person's table is a few kilobytes; a sound file given by mistake is not."""

_DECIMAL_COMMA: Final = r"=\s*[-+]?\d+,\d"
_CURLY_QUOTE: Final = "[\u201c\u201d\u201e\u2018\u2019]"
_BARE_WORDS: Final = r"\s*\w+(\s+\w+)+\s*="
_PLACE: Final = r" - at `\$\.?([^`]*)`$"
_LINE: Final = r"at line (\d+)"


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
    content = load_toml(path, error=error, what=what, hint=hint)
    return toml_record(content, table, path=path, error=error, hint=hint)


def load_toml(path: Path, *, error: type[MeasureError], what: str, hint: str) -> Mapping[str, Any]:
    """Return what a TOML file holds; the parameters and errors are those of `read_toml`."""
    text = _text(path, error=error, what=what, hint=hint)
    try:
        return _parse(text)
    except tomllib.TOMLDecodeError as problem:
        msg = f"{path} isn't {what}: {_syntax(str(problem), text)}; {hint}"
        raise error(msg) from problem


@lru_cache(maxsize=8)
def _parse(text: str) -> Mapping[str, Any]:
    """Return what a text holds; nobody changes it, so the sheets of many takes are parsed once."""
    return tomllib.loads(text)


def toml_record(
    content: Mapping[str, Any],
    table: type[Table],
    *,
    path: Path,
    error: type[MeasureError],
    hint: str,
) -> Table:
    """Return the record of a file's content; the parameters and errors are those of `read_toml`."""
    try:
        return convert_content(content, table)
    except msgspec.ValidationError as problem:
        msg = f"{path}: {_validation(str(problem), table)}; {hint}"
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
    place = re.search(_LINE, problem)
    lines = text.splitlines()
    line = lines[int(place[1]) - 1] if place and int(place[1]) <= len(lines) else ""
    if place and re.search(_DECIMAL_COMMA, line):
        return f"line {place[1]} has a decimal comma; TOML takes a point, as in 2.35"
    if place and re.search(_CURLY_QUOTE, line):
        return f'line {place[1]} has curly quotes, as a word processor makes them: type straight "'
    if place and "cannot overwrite" in problem.lower():
        return f"line {place[1]} names again what stands further up: only one of them can stay"
    if place and re.match(_BARE_WORDS, line):
        return f'line {place[1]} has a name of several words: put it in straight quotes "'
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


def _validation(problem: str, table: type[msgspec.Struct]) -> str:
    """Return a validation complaint in a person's words, with the key that it is about."""
    place = re.search(_PLACE, problem)
    text = re.sub(_PLACE, "", problem)
    text = re.sub(r"^Object missing required field `(.+)`$", r"the key \1 is missing", text)
    text = re.sub(r"^Object contains unknown field `(.+)`$", r"the key \1 isn't known", text)
    kinds = re.match(r"^Expected `(\w+)(?: \| null)?`, got `(\w+)`$", text)
    choice = re.match(r"^Invalid enum value '(.*)'$", text)
    if choice:
        allowed = get_args(get_type_hints(table).get(place[1])) if place else ()
        text = f"'{choice[1]}' isn't one of {', '.join(allowed) or 'those that are allowed'}"
    if kinds:
        wanted, got = (_KINDS.get(kind, kind) for kind in kinds.groups())
        text = f"must be {wanted}, not {got}"
    if not (place and place[1]):
        return text
    *tables, key = place[1].split(".")
    if kinds:
        return f"{'[' + '.'.join(tables) + '] ' if tables else ''}{key} {text}"
    return f"[{place[1]}]: {text}"
