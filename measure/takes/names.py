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

import re
import unicodedata
from typing import Final

from measure.errors import TakeError

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
