"""Keys pressed while something plays, without waiting for the return key.

Works where standard input is a terminal; elsewhere no key is ever pressed.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import TracebackType

from measure.files.system import pressed_key, read_single_keys


class Keys:
    """The keyboard, read key by key inside a ``with`` block.

    The terminal is put back as it was on leaving, whatever happened.
    """

    def __init__(self) -> None:
        self._restore: Callable[[], None] | None = None
        self._live = sys.stdin is not None and sys.stdin.isatty()

    @property
    def live(self) -> bool:
        """Whether there is a keyboard to listen to."""
        return self._live

    def __enter__(self) -> Keys:
        """Take the terminal from waiting for whole lines."""
        if self._live:
            self._restore = read_single_keys()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give the terminal back."""
        if self._restore is not None:
            self._restore()
            self._restore = None

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
        return pressed_key() if self._live else ""
