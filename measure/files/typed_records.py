"""Contents of files as typed records: the one place where msgspec learns a type.

msgspec keeps what it learns of a type on the type, and shows it to other threads before it is
complete; two threads that meet there end the process. So each type is learned once, under a
lock, before anything is converted to it.
"""

from __future__ import annotations

from threading import Lock
from typing import Any, Final, TypeVar

import msgspec

Record = TypeVar("Record", bound=msgspec.Struct)

_LEARNING: Final = Lock()
_DECODERS: Final[dict[type[msgspec.Struct], msgspec.json.Decoder[Any]]] = {}
"""Of each type that was learned; complete before it is here, and never taken out."""


def convert_content(content: Any, table: type[Record]) -> Record:
    """Return the record of a content, as TOML or JSON has it.

    Parameters
    ----------
    content : object
    table : type
        A msgspec record; its types, names and bounds are enforced.

    Returns
    -------
    table
        An instance of it.

    Raises
    ------
    msgspec.ValidationError
        If the content isn't of that type.
    """
    # A generic record is written anew at each use, so what is converted to is what was learned.
    return msgspec.convert(content, type=_decoder(table).type)


def decode_json(raw: bytes, table: type[Record]) -> Record:
    """Return the record of a JSON text; the parameter `table` is that of `convert_content`.

    Raises
    ------
    msgspec.MsgspecError
        If it is no JSON, or its content isn't of that type.
    """
    record: Record = _decoder(table).decode(raw)
    return record


def _decoder(table: type[Record]) -> msgspec.json.Decoder[Record]:
    """Return the decoder of a type, which knows that type and all those within it."""
    found = _DECODERS.get(table)
    if found is None:
        with _LEARNING:
            found = _DECODERS.get(table)
            if found is None:
                found = _DECODERS[table] = msgspec.json.Decoder(table)
    return found
