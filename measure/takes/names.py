"""How a take's folder is called, when people call takes what they like, and its files.

A name becomes one folder name that Windows, macOS and Linux all take, and that stays the
same when copied between them. What can be kept is kept: letters of every script, spaces,
emoji. The given name itself stands in ``take.toml``.

References
----------
Microsoft, "Naming Files, Paths, and Namespaces": reserved characters and names; no space or
full stop at the end (from memory).
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Final

from measure.errors import TakeError
from measure.files.system import sync_folder

LONGEST_BYTES: Final = 120
"""In UTF-8. File systems take 255 bytes, encrypted home folders about 140, and "unfinished"
and a number must still fit."""

UNFINISHED: Final = ".unfinished"
"""Ending of a folder whose take isn't complete."""

RECORDING: Final = "recording.wav"
PROGRAMME: Final = "programme.wav"
READING: Final = "reading.json"
FACTS: Final = "take.toml"
REASON: Final = "unfinished.toml"
BEGUN: Final = "begun.toml"
"""What is known of a take before its first sample; gone when it is complete."""
IN_USE: Final = "in_use.lock"
"""Locked as long as a process makes the take, and gone when it has."""
REMARKS: Final = "remarks.toml"
MICROPHONE: Final = "microphone.txt"

CUT_OFF: Final = "the program ended before the take was complete"
"""Why a take is unfinished, unless what ended it writes another reason."""

FALLBACK: Final = "take"
"""For a name of which nothing can be kept."""

_FORBIDDEN: Final = frozenset('<>:"/\\|?*')
_RESERVED: Final = re.compile(
    r"(con|prn|aux|nul|conin\$|conout\$|com[0-9¹²³]|lpt[0-9¹²³])\s*(\.|$)", re.IGNORECASE
)


def folder_name(given: str) -> str:
    """Return the folder name for a take's name.

    Parameters
    ----------
    given : str

    Returns
    -------
    str
        At most `LONGEST_BYTES` bytes; a name made by this function stays as it is.

    Raises
    ------
    TakeError
        If the name is empty.
    """
    if not given.strip():
        msg = "the take has no name: give one, such as before"
        raise TakeError(msg)
    name = unicodedata.normalize("NFC", "".join(_safe_sign(sign) for sign in given))
    name = _trimmed(" ".join(name.split()))
    if _RESERVED.match(name):
        name = f"{FALLBACK}-{name}"
    name = _trimmed(_shortened(name))
    if name.casefold().endswith(UNFINISHED):
        name = f"{name[: -len(UNFINISHED)]}-{UNFINISHED[1:]}"
    return name or FALLBACK


def _safe_sign(sign: str) -> str:
    """Return what stands for one sign in a folder name."""
    category = unicodedata.category(sign)
    if sign.isspace():
        return " "
    if category == "Cf":  # Invisible, such as the joiner within an emoji.
        return ""
    return "-" if sign in _FORBIDDEN or category.startswith("C") else sign


def _trimmed(name: str) -> str:
    """Return a name that is neither hidden, nor an option, nor ends as Windows forbids."""
    return name.lstrip(" .-~").rstrip(" .")


def _shortened(name: str) -> str:
    """Return as much of a name as fits, in whole signs."""
    return name.encode()[:LONGEST_BYTES].decode(errors="ignore")


def check_free(folder: Path, name: str) -> None:
    """Raise an error if a take can't be kept under a name, before anything is played.

    Raises
    ------
    TakeError
        If there is one of that name, or nothing can be written where it belongs.
    """
    wanted = folder / folder_name(name)
    try:
        there = wanted.exists()
        place = next(one for one in (folder, *folder.absolute().parents) if one.exists())
    except OSError as problem:
        msg = f'can\'t look for "{wanted}" ({problem.strerror}): give another folder'
        raise TakeError(msg) from problem
    if there:
        msg = f'there is a take "{wanted}" already, and none is ever replaced: give another name'
        raise TakeError(msg)
    if not place.is_dir():
        msg = f'"{place}" is a file, so no take can be kept in it: give a folder'
        raise TakeError(msg)
    # By the rights in force, where the system can tell them from the user's own.
    effective = os.access in os.supports_effective_ids
    if not os.access(place, os.W_OK | os.X_OK, effective_ids=effective):
        msg = f'nothing can be written into the folder "{place}": change its rights, or give '
        msg += "another folder"
        raise TakeError(msg)


def numbered_names(name: str, ending: str = "") -> Iterator[str]:
    """Yield a name, then the same with the numbers from 2."""
    yield name + ending
    yield from (f"{name}-{number}{ending}" for number in count(2))


def give_final_name(folder: Path, wanted: Path) -> Path:
    """Give a complete take's folder the name asked for, or that with a number.

    Raises
    ------
    TakeError
        If the system refuses; the folder then stays as it is called.
    """
    try:
        for place in numbered_names(wanted.name):
            target = wanted.with_name(place)
            if not target.exists():
                folder = folder.rename(target)
                break
        sync_folder(folder.parent)
    except OSError as problem:
        raise incompletable(folder, problem) from problem
    return folder


def incompletable(folder: Path, problem: OSError) -> TakeError:
    """Return the error for a folder that can't be completed."""
    msg = f"can't complete {folder} ({problem.strerror or problem}): what was recorded is kept "
    msg += "there"
    return TakeError(msg)
