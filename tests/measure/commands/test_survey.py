"""The command: starter, verdict, moves, files, the second survey, and errors."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from measure import cli
from measure.files.room_file import read_room

SAMPLES = Path(__file__).parents[3] / "sample_data"


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = cli.run(["survey", *words])
    printed = capsys.readouterr()
    return status, printed.out, printed.err


def test_from_before_to_after(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    # Known input: the invented room. A slip of exchanged digits is found; the moves are made by
    # make_survey.py; the second survey passes.
    out = tmp_path / "survey.json"
    status, said, _ = run(capsys, str(SAMPLES / "survey-before.toml"), "--json", str(out))
    assert status == 0
    assert said.startswith("The left loudspeaker is 10.4 ± 0.6 mm nearer to the head")
    assert "rack left to left inner (line 67): 731 mm does not fit the others" in said
    document = json.loads(out.read_text(encoding="utf-8"))
    assert not document["passes"]
    (blunder,) = document["blunders"]
    assert blunder["given"] == pytest.approx(731)
    # The truth is in make_survey.py: 713.0 mm.
    assert blunder["expected"] == pytest.approx(713.0, abs=3 * blunder["expected_std"])
    assert document["distance"]["left_minus_right_mm"] == pytest.approx(-9.4, abs=2)
    assert [one["kind"] for one in document["moves"]][-1] == "check"
    status, said, _ = run(capsys, str(SAMPLES / "survey-after.toml"), "--json", str(out))
    assert status == 0
    assert "The pair passes: nothing needs to be moved." in said
    document = json.loads(out.read_text(encoding="utf-8"))
    assert document["passes"]
    assert document["moves"] == []
    assert abs(document["distance"]["left_minus_right_mm"]) < 2


def test_starter_card_room_and_plan(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    # Known input: a starter as it is; the room file that comes out can be read again.
    starter = tmp_path / "room.survey.toml"
    status, said, _ = run(capsys, "--new", str(starter), "--kit", "both")
    assert status == 0
    assert "1. mark the points" in said
    assert "Never look into the laser" in said
    room, card = tmp_path / "room.toml", tmp_path / "card.txt"
    words = ("--room-out", str(room), "--card", str(card), "--figures", str(tmp_path / "plan"))
    status, said, _ = run(capsys, str(starter), *words)
    assert status == 0
    found = read_room(room)
    assert found.room.width_m == pytest.approx(4.16, abs=0.06)
    assert found.positions.left.tweeter.y_m == pytest.approx(0.83, abs=0.01)
    assert found.positions.left_minus_right_m == pytest.approx(-0.009, abs=0.06)
    assert "# ±" in room.read_text(encoding="utf-8")
    assert card.read_text(encoding="utf-8").startswith("SURVEY CARD")
    assert {path.name for path in (tmp_path / "plan").iterdir()} == {"plan.png", "plan.svg"}
    for name in ("room.toml", "card.txt", "plan.png", "plan.svg"):
        assert name in said
    # Nothing is replaced without being asked to.
    for again in (("--new", str(starter)), (str(starter), "--room-out", str(room))):
        status, _, problem = run(capsys, *again)
        assert status == 2
        assert "exists already" in problem
    assert run(capsys, str(starter), "--room-out", str(room), "--force")[0] == 0


def test_json_alone_on_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    status, said, told = run(capsys, str(SAMPLES / "survey-before.toml"), "--json", "-")
    assert status == 0
    assert json.loads(said)["command"] == "survey"
    assert told.startswith("The left loudspeaker")


def reading(folder: Path, difference_mm: float | None) -> Path:
    """Return a saved reading of the after room with another arrival difference."""
    words = ["read", str(SAMPLES / "after.flac"), "--json", str(folder / "reading.json")]
    assert cli.run([*words, "--sweep", str(SAMPLES / "programme.sheet.toml")]) == 0
    path = folder / "reading.json"
    document: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    document["arrival"]["left_minus_right_mm"] = difference_mm
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def test_sound_beside_tape(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    # Known input: a reading whose difference is set to agree, to disagree, and to be withheld.
    survey, out = str(SAMPLES / "survey-after.toml"), str(tmp_path / "s.json")
    path = reading(tmp_path, 0.5)
    capsys.readouterr()
    status, said, _ = run(capsys, survey, "--reading", str(path), "--json", out)
    assert status == 0
    assert "They agree within two sigmas." in said
    document = json.loads(path.read_text(encoding="utf-8"))
    document["arrival"]["left_minus_right_mm"] = 12.0
    path.write_text(json.dumps(document), encoding="utf-8")
    _, said, _ = run(capsys, survey, "--reading", str(path), "--json", out)
    assert "the microphone stood" in said
    found = json.loads(Path(out).read_text(encoding="utf-8"))["arrival"]
    assert not found["agrees"]
    # Half the angle at the head is 24 degrees: 11.3 mm over 2 sin 24 is 14 mm.
    assert found["microphone_right_mm"] == pytest.approx(
        found["disagreement_mm"] / (2 * 0.406), rel=0.02
    )
    document["arrival"]["left_minus_right_mm"] = None
    path.write_text(json.dumps(document), encoding="utf-8")
    status, _, problem = run(capsys, survey, "--reading", str(path))
    assert status == 2
    assert "withheld" in problem


def test_what_is_wrong_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(capsys)[0] == 2
    status, _, problem = run(capsys, str(tmp_path / "nothing.toml"))
    assert status == 2
    assert "doesn't exist" in problem
    text = (SAMPLES / "survey-before.toml").read_text(encoding="utf-8")
    path = tmp_path / "s.toml"
    path.write_text(text.replace("height = 2480", "# height = 2480"), encoding="utf-8")
    status, _, problem = run(capsys, str(path), "--room-out", str(tmp_path / "room.toml"))
    assert status == 2
    assert "ceiling" in problem
    assert not (tmp_path / "room.toml").exists()
    path.write_text(text.replace('to = "head"', 'to = "heat"'), encoding="utf-8")
    status, _, problem = run(capsys, str(path))
    assert status == 2
    assert "no point 'heat'" in problem
    lines = [line for line in text.splitlines() if "wall rear" not in line]
    path.write_text("\n".join(lines), encoding="utf-8")
    status, _, problem = run(capsys, str(path), "--room-out", str(tmp_path / "room.toml"))
    assert status == 2
    assert "rear wall" in problem


def documented() -> set[str]:
    """Return every key that the page lists."""
    page = (SAMPLES.parent / "docs" / "survey_json.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`[^|]+`) \|", page, re.MULTILINE)
    return {key for row in rows for key in re.findall(r"`([^`]+)`", row)}


def keys_of(value: Any, path: str = "") -> Iterator[str]:
    """Yield every key of a document; names of sides, walls and points as the page has them."""
    if isinstance(value, dict) and value:
        for key, item in value.items():
            name = key
            if path == "points":
                name = "NAME"
            elif re.fullmatch(r"walls\.(SIDE|head)", path):
                name = "WALL"
            elif path == "walls" and key in ("left", "right"):
                name = "SIDE"
            yield from keys_of(item, f"{path}.{name}" if path else name)
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for item in value:
            yield from keys_of(item, f"{path}[]")
    else:
        yield path


def test_every_key_is_on_its_page(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    # The truth is the program's own output, both ways round.
    survey, out = tmp_path / "s.toml", tmp_path / "s.json"
    text = (SAMPLES / "survey-before.toml").read_text(encoding="utf-8")
    survey.write_text(text.replace("# base_angle_deg", "base_angle_deg"), encoding="utf-8")
    path = reading(tmp_path, 30.0)
    capsys.readouterr()
    assert run(capsys, str(survey), "--reading", str(path), "--json", str(out))[0] == 0
    found = set(keys_of(json.loads(out.read_text(encoding="utf-8"))))
    # A survey as rich as this one leaves no slip for the sound to find.
    slips = {key for key in documented() if key.startswith("arrival.suspects[]")}
    assert found - documented() == {"arrival.suspects"}
    parents = {key for key in documented() if any(one.startswith(f"{key}.") for one in found)}
    assert documented() - found - parents - slips == set()


def test_the_page_quotes_the_demo_word_by_word(capsys: pytest.CaptureFixture[str]) -> None:
    # The truth is the program's own output.
    page = (SAMPLES.parent / "docs" / "survey.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```\n(.*?)^```", page, re.DOTALL | re.MULTILINE)
    (block,) = [block for block in blocks if block.startswith("The left loudspeaker")]
    _, said, _ = run(capsys, str(SAMPLES / "survey-before.toml"))
    assert said.startswith(block)
