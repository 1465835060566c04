"""The line that changes. Truth: a terminal's width, as told."""

from __future__ import annotations

import io
import os
import sys

import pytest

from measure.terminal.progress_line import LiveLine, show_progress


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


def test_steps_go_to_standard_error_a_line_each(capsys: pytest.CaptureFixture[str]) -> None:
    # Known input: two steps, and no terminal.
    with show_progress("One") as step:
        step("Two")
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == "One ...\nTwo ...\n"


def test_on_a_terminal_the_steps_share_a_line_that_goes(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: two steps, the second shorter, and nothing left of either.
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(os, "get_terminal_size", lambda _: os.terminal_size((80, 24)))
    with show_progress("The first") as step:
        step("Next")
    assert terminal.getvalue().split("\r") == ["", "The first ...", "Next ...     ", " " * 8, ""]
