"""Single keys from a real pseudo-terminal."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator

import pytest

from measure.sound.keys import Keys

pty = pytest.importorskip("pty", reason="pseudo-terminals are a Unix thing")
termios = pytest.importorskip("termios", reason="terminal modes are a Unix thing")


@pytest.fixture
def keyboard(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Give the process a terminal as its standard input, and the other end of it to type at."""
    typed, terminal = pty.openpty()
    with os.fdopen(terminal, "r") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        yield typed
    os.close(typed)


def test_a_key_comes_without_return(keyboard: int) -> None:
    # Known input: one key typed, no end of line.
    with Keys() as keys:
        assert keys.live
        assert keys.pressed() == ""
        os.write(keyboard, b"q")
        assert keys.pressed() == "q"
        assert keys.pressed() == ""


def test_the_terminal_is_given_back(keyboard: int) -> None:  # noqa: ARG001
    # Invariant: the mode after is the mode before, also after an error.
    before = termios.tcgetattr(sys.stdin.fileno())
    keys = Keys()
    with contextlib.suppress(KeyboardInterrupt), keys:
        assert termios.tcgetattr(sys.stdin.fileno()) != before
        raise KeyboardInterrupt
    assert termios.tcgetattr(sys.stdin.fileno()) == before


def test_no_key_where_there_is_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: the null device.
    with open(os.devnull) as nothing:  # noqa: PTH123
        monkeypatch.setattr(sys, "stdin", nothing)
        with Keys() as keys:
            assert not keys.live
            assert keys.pressed() == ""
