"""What a person does to a run while it sounds: keys, without waiting for the return key.

Works where standard input is a terminal; elsewhere no key is ever pressed. There another program
may have started this one, through a pipe; where that pipe ends, the program has gone, and nobody
is left to stop the sound. A pipe that had ended from the start tells nothing.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Final

from measure.files.system import has_input_ended, pressed_key, read_single_keys
from measure.sound.stop import Stop, catch_signals

BY_END: Final = "stopped, as the program that started this one has gone"


class Keys:
    """The keyboard, read key by key inside a ``with`` block, and what else asks for silence.

    Inside the block the signals that end a program ask for silence only. The terminal and the
    signals are put back as they were on leaving, whatever happened.
    """

    def __init__(self) -> None:
        self.stop = Stop()
        self._restore: list[Callable[[], None]] = []
        self._live = sys.stdin is not None and sys.stdin.isatty()
        self._listens = not self._live and not has_input_ended()

    @property
    def live(self) -> bool:
        """Whether there is a keyboard to listen to."""
        return self._live

    def __enter__(self) -> Keys:
        """Take the terminal from waiting for whole lines."""
        self._restore = [catch_signals(self.stop)]
        if self._live:
            self._restore.append(read_single_keys())
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give the terminal back."""
        while self._restore:
            self._restore.pop()()

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

    def look_at_input(self) -> None:
        """Ask for silence where the pipe on standard input has ended."""
        if self._listens and has_input_ended():
            self.stop.ask(BY_END)
