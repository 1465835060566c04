"""Names that people give, as folders in a logbook that is copied between systems.

`measure.takes.names.folder_name` makes one name safe. Here two names are held against each
other: Windows and macOS take ``Birch`` and ``birch`` for one folder, so a logbook never has
both.
"""

from __future__ import annotations

import unicodedata
from pathlib import Path

from measure.errors import LogbookError
from measure.takes.names import folder_name


def decode_name(given: str) -> str:
    """Return a name from the command line as text that a file can hold.

    Bytes that are no UTF-8 come as lone surrogates, which no file takes.
    """
    return given.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def entry_folder_name(given: str, *, kind: str) -> str:
    """Return the folder name for an entry's name.

    Raises
    ------
    LogbookError
        If the name is empty.
    """
    if not given.strip():
        msg = f"the {kind} has no name: give one"
        raise LogbookError(msg)
    return folder_name(given)


def fold_name(name: str) -> str:
    """Return what two names have in common that some system takes for one."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def same_folder(place: Path, name: str) -> Path | None:
    """Return the folder that is there under a name, or under one that counts as the same."""
    exact = place / name
    if exact.exists():
        return exact
    if not place.is_dir():
        return None
    wanted = fold_name(name)
    return next((path for path in place.iterdir() if fold_name(path.name) == wanted), None)
