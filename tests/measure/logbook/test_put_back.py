"""``apexline log put-back``: the way back to a kept place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from measure import cli
from measure.logbook.folder import Logbook

SAMPLES = Path(__file__).parents[3] / "sample_data"


def typed(logbook: Logbook, *words: str | Path) -> int:
    return cli.run(["log", "--log", str(logbook.path), *map(str, words)])


def test_the_way_back_undoes_the_moves_of_the_sample(
    logbook: Logbook, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: the second sample survey was made after the moves that the first asks for, so
    # the way back is those moves the other way round.
    before, after = (SAMPLES / f"survey-{name}.toml" for name in ("before", "after"))
    asked, back = tmp_path / "asked.json", tmp_path / "back.json"
    assert cli.run(["survey", str(before), "--json", str(asked)]) == 0
    assert typed(logbook, "add", "survey", "Friday", before) == 0
    assert typed(logbook, "add", "place", "as it was", "--survey", "Friday") == 0
    assert typed(logbook, "put-back", "as it was", "--from", after, "--json", back) == 0
    moves = json.loads(asked.read_text("utf-8"))["moves"]
    document = json.loads(back.read_text("utf-8"))
    for step in document["steps"]:
        asked_mm = sum(
            one["outward_mm"]
            for one in moves
            if (one["kind"], one["what"]) == ("slide", step["what"])
        )
        off_mm = step["outward_mm"] + asked_mm
        assert abs(off_mm) < 3 * step["outward_std_mm"] + 2.0
    reading = next(one for one in document["readings"] if one["reading"] == "head to left outer")
    assert reading["then"] == pytest.approx(3010, abs=4)
    assert any("to wall front" in one["reading"] for one in document["readings"])
    said = capsys.readouterr().out
    assert "What the tape must read then" in said
    assert "front 1" in said


def test_coordinates_alone_give_the_way_by_the_walls(
    logbook: Logbook, capsys: pytest.CaptureFixture[str]
) -> None:
    # Closed form: differences of coordinates, Pythagoras.
    where = {"left": (0.95, 0.92, 1.0), "right": (3.15, 0.90, 1.0), "seat": (2.05, 3.30, 1.05)}
    for name, back_m in (("then", 0.0), ("now", 0.1)):
        words: list[str] = []
        for what, (x, y, z) in where.items():
            shift = back_m if what == "left" else 0.0
            words += [f"--{what}", f"{x + shift},{y + shift},{z}"]
        assert typed(logbook, "add", "place", name, *words, "--std", "0.002") == 0
    assert typed(logbook, "put-back", "then", "--from", "now") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "100.0 ± 2.8 mm toward the front wall, 100.0 ± 2.8 mm outward" in said
    assert "Right loudspeaker: stands where it stood" in said
    assert "left tweeter to wall front 1020 mm → 920 mm ±2.0 mm" in said
    assert "Get help to lift" in said


def test_a_kept_place_alone_says_what_the_tape_reads(
    logbook: Logbook, capsys: pytest.CaptureFixture[str]
) -> None:
    assert typed(logbook, "add", "survey", "Friday", SAMPLES / "survey-before.toml") == 0
    assert typed(logbook, "put-back", "Friday") == 0
    said = capsys.readouterr().out
    assert "At survey Friday the tape must read" in said
    assert "rack left to left outer" in said


def test_what_is_not_there_is_refused(logbook: Logbook, capsys: pytest.CaptureFixture[str]) -> None:
    assert typed(logbook, "put-back", "nowhere") == 2
    assert "there is no place, survey or survey file nowhere" in capsys.readouterr().err
    assert typed(logbook, "add", "place", "empty") == 0
    assert typed(logbook, "put-back", "empty") == 2
    assert "says nothing of where" in capsys.readouterr().err
