"""Asking once whether the person has read the cautions before anything is played.

What was accepted is kept in the person's state folder as a checksum of the text's words, so
that a text that says something else asks again. A file that can't be read asks again too.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Final

from measure.errors import MeasureError, UnsafeError
from measure.files.output import text_writer, write_whole
from measure.files.system import state_folder

OPTION: Final = "--accept-cautions"

_QUESTION: Final = "Type yes to go on: "


def consent(ask: Callable[[str], str] | None, *, accepted_by_option: bool) -> str:
    """Return what to show before playing, once the cautions are accepted.

    Parameters
    ----------
    ask : callable or None
        Shows a text and returns what the person typed; None where there is no terminal.
    accepted_by_option : bool
        Whether ``--accept-cautions`` was given.

    Returns
    -------
    str
        The reminder where they were accepted before or just now, all of them where the
        option accepts them unread.

    Raises
    ------
    UnsafeError
        If they aren't accepted: nothing may be played.
    """
    if accepted_before():
        return reminder()
    if accepted_by_option:
        return live_cautions() + _keep()
    if ask is None:
        msg = (
            "the cautions that come before any sound weren't accepted yet, and there is no "
            f"terminal to ask in: read docs/safety.md, then add {OPTION} or run this once in a "
            "terminal"
        )
        raise UnsafeError(msg)
    answer = ask(f"{live_cautions()}\n{_QUESTION}")
    if answer.strip().strip("'\"").lower() != "yes":
        msg = "the cautions weren't accepted (yes wasn't typed), so nothing was played"
        raise UnsafeError(msg)
    return reminder() + _keep()


def accepted_before() -> bool:
    """Return whether this very text was accepted on this account before."""
    try:
        return _path().read_text(encoding="utf-8").split()[-1:] == [_checksum()]
    except (OSError, UnicodeDecodeError):
        return False


def live_cautions() -> str:
    """Return the cautions for a person before whom this program plays."""
    return _text("cautions_live.txt")


def reminder() -> str:
    """Return the cautions in two lines, for somebody who has accepted them."""
    return _text("cautions_reminder.txt")


def _keep() -> str:
    """Keep that they were accepted; return a line if that can't be."""
    path = _path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text_writer(f"Cautions accepted, text {_checksum()}\n"))
    except (OSError, MeasureError) as problem:
        return f"(This can't be remembered, so it is asked again next time: {problem})\n"
    return ""


def _path() -> Path:
    """Return where it is kept."""
    return state_folder() / "cautions_accepted.txt"


def _checksum() -> str:
    """Return the SHA-256 of the text's words, whatever its line ends."""
    return hashlib.sha256(" ".join(live_cautions().split()).encode()).hexdigest()


def _text(name: str) -> str:
    """Return a text that is installed with the program."""
    return resources.files("measure").joinpath(f"data/{name}").read_text(encoding="utf-8")
