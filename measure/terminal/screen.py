"""Where the nudge loop's answers are shown: a screen that is written anew each time.

On a terminal the figures stay in place; elsewhere each answer is a line, so that a log stays
readable.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from typing import TextIO

_HOME = "\x1b[H"
_TO_LINE_END = "\x1b[K"
_TO_END = "\x1b[J"
_CLEAR = "\x1b[2J"

LEAST_COLUMNS = 40


class NudgeScreen:
    """The screen.

    Parameters
    ----------
    stream : text stream
    plain : bool
        ASCII alone; taken anyway where the stream can't show more.
    """

    def __init__(self, stream: TextIO, *, plain: bool = False) -> None:
        self._stream = stream
        self._terminal = stream.isatty() and sys.platform != "win32"
        self._begun = False
        self.plain = plain or not _shows_blocks(stream)

    @property
    def columns(self) -> int:
        """Its width, at least 40."""
        return max(shutil.get_terminal_size().columns, LEAST_COLUMNS)

    @property
    def large(self) -> bool:
        """Whether large figures have a place on it."""
        return self._stream.isatty()

    def show(self, lines: Sequence[str], summary: str) -> None:
        """Show lines in place of the last ones, or the summary where nothing stays in place.

        Parameters
        ----------
        lines : sequence of str
        summary : str
            The same in one line.
        """
        if not self.large:
            self._stream.write(f"{summary}\n")
        elif not self._terminal:
            self._stream.write("\n" + "".join(f"{line}\n" for line in lines))
        else:
            start = "" if self._begun else _CLEAR
            body = "".join(f"{line}{_TO_LINE_END}\n" for line in lines)
            self._stream.write(f"{start}{_HOME}{body}{_TO_END}")
            self._begun = True
        self._stream.flush()

    def leave(self) -> None:
        """Let what follows be written below, and begin anew next time."""
        self._begun = False


def _shows_blocks(stream: TextIO) -> bool:
    """Say whether a stream's encoding holds the characters that are used."""
    try:
        "\N{FULL BLOCK}\N{UPWARDS ARROW}\N{PLUS-MINUS SIGN}\N{MINUS SIGN}".encode(
            stream.encoding or "ascii"
        )
    except (UnicodeEncodeError, LookupError):
        return False
    return True
