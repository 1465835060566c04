"""The line that changes. Truth: a terminal's width, as told."""

from __future__ import annotations

import io
import os
import sys

import pytest

from measure.terminal.progress_line import LiveLine


class Terminal(io.StringIO):
    """A terminal's writing end."""

    def isatty(self) -> bool:
        """Say so."""
        return True

    def fileno(self) -> int:
        """Return any number."""
        return 2


@pytest.mark.parametrize(("columns", "longest"), [(40, 39), (200, 100), (0, 79)])
def test_a_line_never_runs_over_the_edge(
    columns: int, longest: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Invariant: what is rewritten in place fits the terminal; one that tells 0 is 80 wide.
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(os, "get_terminal_size", lambda _: os.terminal_size((columns, 24)))
    with LiveLine() as line:
        line.show("x" * 100)
        assert max(map(len, terminal.getvalue().split("\r"))) == longest
