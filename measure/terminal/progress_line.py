"""One line on standard error that changes while something plays or is computed.

On a terminal the line is rewritten in place, and cut where the terminal is narrow, so what
matters most comes first; elsewhere a line is added every few seconds, so that a log stays
readable.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Final

EVERY_S: Final = 5.0
"""Between two lines where there is no terminal."""

USUAL_COLUMNS: Final = 80
"""Of a terminal that doesn't tell its width."""


class LiveLine:
    """The line; use it in a ``with`` block, which ends it properly."""

    def __init__(self) -> None:
        self._terminal = sys.stderr.isatty()
        self._shown = 0
        self._told_s = -EVERY_S

    def __enter__(self) -> LiveLine:
        """Begin with nothing shown."""
        return self

    def __exit__(self, *problem: object) -> None:
        """Leave the cursor on a fresh line."""
        with suppress(OSError):  # A terminal that was closed; why the block ended matters more.
            self.clear()

    def show(self, text: str) -> None:
        """Show a text in place of the last one."""
        if self._terminal:
            # A line that runs over the edge can't be rewritten in place.
            text = text[: _columns() - 1]
            sys.stderr.write("\r" + text.ljust(self._shown))
            self._shown = len(text)
        elif time.monotonic() - self._told_s >= EVERY_S:
            self._told_s = time.monotonic()
            sys.stderr.write(text + "\n")
        sys.stderr.flush()

    def clear(self) -> None:
        """Take the line away, so that ordinary text can follow."""
        if self._terminal and self._shown:
            sys.stderr.write("\r" + " " * self._shown + "\r")
            sys.stderr.flush()
        self._shown = 0


@contextmanager
def show_progress(text: str) -> Iterator[Callable[[str], None]]:
    """Show on standard error what is being done, each step a line where there is no terminal.

    Parameters
    ----------
    text : str
        What is done first.

    Yields
    ------
    callable
        Call it with what is done next.
    """
    if not sys.stderr.isatty():
        _write_step(text)
        yield _write_step
        return
    with LiveLine() as line:

        def show(step: str) -> None:
            line.show(f"{step} ...")

        show(text)
        yield show


def _write_step(step: str) -> None:
    """Write one line of progress to standard error."""
    sys.stderr.write(f"{step} ...\n")
    sys.stderr.flush()


def _columns() -> int:
    """Return how wide the terminal of standard error is."""
    try:
        return os.get_terminal_size(sys.stderr.fileno()).columns or USUAL_COLUMNS
    except (OSError, ValueError):
        return USUAL_COLUMNS
