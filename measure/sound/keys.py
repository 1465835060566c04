"""Keys pressed while something plays, without waiting for the return key.

Works where standard input is a terminal; elsewhere no key is ever pressed.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Any


class Keys:
    """The keyboard, read key by key inside a ``with`` block.

    The terminal is put back as it was on leaving, whatever happened.
    """

    def __init__(self) -> None:
        self._before: Any = None
        self._live = sys.stdin is not None and sys.stdin.isatty()

    @property
    def live(self) -> bool:
        """Whether there is a keyboard to listen to."""
        return self._live

    def __enter__(self) -> Keys:
        """Take the terminal from waiting for whole lines."""
        if self._live and sys.platform != "win32":
            import termios
            import tty

            handle = sys.stdin.fileno()
            self._before = termios.tcgetattr(handle)
            tty.setcbreak(handle)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give the terminal back."""
        if self._before is not None and sys.platform != "win32":
            import termios

            termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, self._before)
            self._before = None

    @contextmanager
    def lent(self) -> Iterator[None]:
        """Give the terminal back for a while, for a question that ends with return."""
        self.__exit__(None, None, None)
        try:
            yield
        finally:
            self.__enter__()

    def pressed(self) -> str:
        """Return the key pressed since the last call, or an empty string."""
        if not self._live:
            return ""
        if sys.platform == "win32":
            import msvcrt

            return msvcrt.getwch() if msvcrt.kbhit() else ""
        import os
        import select

        handle = sys.stdin.fileno()
        if not select.select([handle], [], [], 0)[0]:
            return ""
        # Read past Python's own buffer, which `select` doesn't see.
        return os.read(handle, 64).decode(errors="replace")[:1]
