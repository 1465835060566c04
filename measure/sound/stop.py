"""Why the sound shall stop: the first reason that anybody gave.

A key, a signal from the system and the end of a program that started this one all ask the same
`Stop`; whoever watches a run looks at it. Nothing else happens where it is asked: a signal comes
in the middle of anything, where to write, to lock or to raise an error could leave a file
half-written or a sound playing.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from types import FrameType
from typing import Final

from measure.errors import StoppedError

SIGNALS: Final = {
    "SIGTERM": "stopped by the system or another program",
    "SIGHUP": "stopped, as the terminal was closed",
}
"""A signal's name, as a system may not have it, and the reason that it gives."""


class Stop:
    """Asked by anybody, at any moment; the first reason stays."""

    def __init__(self) -> None:
        # No `threading.Event`: to set one takes its lock, which a signal may find taken by the
        # very code that it interrupts. One assignment is whole by itself.
        self.reason = ""
        """Empty as long as nobody asked."""

    def ask(self, reason: str) -> None:
        """Ask for silence; a reason that was given before stays."""
        self.reason = self.reason or reason

    def raise_if_asked(self) -> None:
        """Raise an error where somebody asked.

        Raises
        ------
        StoppedError
            With the reason.
        """
        if self.reason:
            raise StoppedError(self.reason)


def catch_signals(stop: Stop) -> Callable[[], None]:
    """Have the signals that end a program ask for silence instead.

    A signal that is ignored stays so: that is how a program outlives its terminal.

    Parameters
    ----------
    stop : Stop

    Returns
    -------
    callable
        Gives them back what they did before.
    """
    if threading.current_thread() is not threading.main_thread():
        return lambda: None

    def handler(reason: str) -> Callable[[int, FrameType | None], None]:
        return lambda _number, _frame: stop.ask(reason)

    before = {}
    for name, reason in SIGNALS.items():
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, handler(reason))

    def restore() -> None:
        for number, what in before.items():
            signal.signal(number, what)

    return restore
