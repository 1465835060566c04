"""What a command prints last. Truth: the two streams, and the lines as they are written here."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.terminal.printed_lines import list_written, print_lines


@pytest.mark.parametrize("to_error", [False, True])
def test_lines_go_to_one_stream_alone(to_error: bool, capsys: pytest.CaptureFixture[str]) -> None:
    print_lines(["a", "", "b"], to_error=to_error)
    out, err = capsys.readouterr()
    assert (err if to_error else out) == "a\n\nb\n"
    assert (out if to_error else err) == ""


def test_what_was_written_is_listed_and_nothing_makes_no_heading() -> None:
    assert list_written([Path("a.json"), Path("b.wav")]) == ["", "Wrote", "  a.json", "  b.wav"]
    assert list_written([]) == []
