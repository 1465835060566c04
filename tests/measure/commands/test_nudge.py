"""``apexline nudge`` in the simulated room, as the person calls it."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pytest

from measure import cli
from measure.commands import nudge as nudge_command
from measure.commands.options.programme import ProgrammeOptions
from measure.files.system import VARIABLE
from measure.live import nudge_bass
from measure.terminal.screen import NudgeScreen

FAST = ("--simulate", "--pace", "100000", "--level", "-26")


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the person's own folders out of it."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "home"))


def test_each_answer_is_a_line_and_the_last_says_done(capsys: pytest.CaptureFixture[str]) -> None:
    # Known input: a room whose left loudspeaker stands 18 mm too near, and its person.
    assert cli.run(["nudge", *FAST]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("↑ left 18 mm away from the seat; left minus right −18")
    assert lines[-1].startswith("done: three readings in a row within 2.0 mm")


def test_json_is_a_line_for_each_answer(capsys: pytest.CaptureFixture[str]) -> None:
    # Invariant: signs, advice and tolerance agree in every line; nothing else is printed.
    # The level is found first, by a quiet noise.
    words = ["nudge", "--simulate", "--pace", "100000", "--json", "--move", "right"]
    assert cli.run([*words, "--tolerance", "1"]) == 0
    documents = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert documents[-1]["done"]
    page = (Path(__file__).parents[3] / "docs" / "nudge.md").read_text(encoding="utf-8")
    section = page.split("## `apexline nudge --json`")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (`[^|]+`) \|", section, re.MULTILINE)
    assert {key for row in rows for key in re.findall(r"`(\w+)`", row)} == set(documents[0])
    assert len({tuple(sorted(one)) for one in documents}) == 1
    for one in documents:
        assert (one["schema"], one["command"], one["move"]) == (1, "nudge", "right")
        value_mm = one["left_minus_right_mm"]
        assert (value_mm is None) == (one["unsure"] is not None)
        if value_mm is not None:
            assert one["move_mm"] == abs(value_mm)
            assert one["toward_seat"] == (value_mm < 0)
            assert one["within_tolerance"] == (abs(value_mm) <= 1)
            assert one["in_room_std_mm"] >= 1


def test_with_bass_cue_and_a_take(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: all that can be asked for at once; the take is a whole one.
    monkeypatch.setattr(nudge_command, "SAVED_PROGRAMME", ProgrammeOptions(duration_s=0.6))
    monkeypatch.setattr(nudge_command, "STEP_ASIDE_S", 0)
    monkeypatch.setattr(nudge_bass, "SECONDS", 0.4)
    monkeypatch.setattr(nudge_bass, "TAIL_S", 0.4)
    words = ["nudge", *FAST, "--bass", "--cue", "--save", "after", "--log", str(tmp_path)]
    assert cli.run(words) == 0
    out, err = capsys.readouterr()
    assert err.count("a longer sweep for the bass: stand clear") == 2
    assert err.count("the full take: stand clear") == 1
    assert "\nBass: " in out
    assert "Arrival: equal within 2.0 mm" in out
    assert {"take.toml", "recording.wav"} <= {file.name for file in (tmp_path / "after").iterdir()}
    # A name that is taken is refused before anything sounds.
    assert cli.run(words) == 2
    assert "answer" not in capsys.readouterr().out


def test_what_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    # Known input: too loud, an impossible air, no such side.
    assert cli.run(["nudge", "--simulate", "--level", "-10"]) == 2
    assert "-20" in capsys.readouterr().err
    assert cli.run(["nudge", *FAST, "--temperature", "500"]) == 2
    assert cli.run(["nudge", *FAST, "--move", "both"]) == 2


class _Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        """Return True."""
        return True


def test_a_terminal_is_rewritten_in_place_and_a_log_is_not() -> None:
    # Known input: the two kinds of stream; the first look clears, every one ends in a clean rest.
    terminal = _Terminal()
    screen = NudgeScreen(terminal)
    assert screen.large
    assert not screen.plain
    screen.show(["one", "two"], "short")
    screen.show(["three"], "short")
    text = terminal.getvalue()
    assert text.count("\x1b[2J") == 1
    assert text.count("\x1b[H") == text.count("\x1b[J") == 2
    assert "three" in text
    assert "short" not in text
    log = io.StringIO()
    plain = NudgeScreen(log, plain=True)
    plain.show(["one", "two"], "short")
    assert log.getvalue() == "short\n"
    assert plain.plain
    assert plain.columns >= 40
