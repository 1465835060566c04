"""The options of a command as one frozen record, which alone holds their defaults.

Conventions: a record is a frozen dataclass whose fields are called as click's parameters. A
field whose default is made by another such record stands for that record's own fields, so that
options shared by commands are declared once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Record = TypeVar("Record", bound="DataclassInstance")
Command = TypeVar("Command", bound=click.Command)


def defaults_from(record: type[DataclassInstance]) -> Callable[[Command], Command]:
    """Return what gives a command's parameters the defaults of the record's fields."""

    def give(command: Command) -> Command:
        defaults = dict(flat_defaults(record))
        for parameter in command.params:
            default = defaults.get(parameter.name or "", MISSING)
            # click itself has None, False and nothing for what wasn't given; 0 is a default.
            if default is not False and default not in (MISSING, None, ()):
                parameter.default = default
        return command

    return give


def options_from(record: type[Record], given: Mapping[str, object]) -> Record:
    """Return a record of what click parsed.

    Parameters
    ----------
    record : type
    given : mapping
        From the names of parameters to their values.

    Raises
    ------
    TypeError
        If the record has no field for one of them, or one without a default is missing.
    """
    left = dict(given)
    found = _take_fields(record, left)
    if left:
        msg = f"{record.__name__} has no field for {', '.join(left)}"
        raise TypeError(msg)
    return found


def flat_defaults(record: type[DataclassInstance]) -> Iterator[tuple[str, object]]:
    """Yield the names of all fields, those of records inside too, with their defaults.

    A field without a default, which must be given, has `dataclasses.MISSING`.
    """
    for one in fields(record):
        inner = _inner_record(one)
        if inner is None:
            yield one.name, one.default
        else:
            yield from flat_defaults(inner)


def _take_fields(record: type[Record], left: dict[str, object]) -> Record:
    """Return a record of the values that it has fields for, and take these out of `left`."""
    values: dict[str, object] = {}
    for one in fields(record):
        inner = _inner_record(one)
        if inner is not None:
            values[one.name] = _take_fields(inner, left)
        elif one.name in left:
            values[one.name] = left.pop(one.name)
    return record(**values)


def _inner_record(one: Field[Any]) -> type[DataclassInstance] | None:
    """Return the record that a field holds, if it holds one."""
    factory = one.default_factory
    if factory is MISSING or not is_dataclass(factory):
        return None
    return cast("type[DataclassInstance]", factory)
