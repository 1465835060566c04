"""``apexline place``: choices, a walk, and what is refused."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from analysis.placement.fit.parameters import offsets_with, pair_levels
from analysis.placement.response.room_response import room_model
from measure import cli
from measure.files.room_file import read_room

ROOM = """
length_m = 5
width_m = 4
height_m = 2.5
temperature_c = 20
[left]
x_m = 1.1
y_m = 0.8
z_m = 1.0
[right]
x_m = 2.9
y_m = 0.8
z_m = 1.0
[seat]
x_m = 2.0
y_m = 2.6
z_m = 1.1
"""

SMALL = ("--front", "0.4:1.4:0.2", "--spread", "keep", "--seat", "keep")


@pytest.fixture
def room(tmp_path: Path) -> Path:
    path = tmp_path / "room.toml"
    path.write_text(ROOM, encoding="utf-8")
    return path


def save_reading(path: Path, room: Path, front_m: float, *, places: bool = False) -> None:
    """Save what a reading would show of a lossier room 12 dB louder, at a front distance."""
    from analysis.placement.band_levels import CENTRES_HZ

    file = read_room(room)
    model = room_model(file.room, 300, speed_of_sound_m_s=file.air.speed_of_sound_m_s)
    left, right = np.array([[1.1, front_m, 1.0]]), np.array([[2.9, front_m, 1.0]])
    truth = offsets_with(
        length_scale=0.005,
        width_scale=0.005,
        front_and_rear_loss=0.6,
        side_loss=0.6,
        floor_loss=0.3,
        ceiling_loss=0.3,
        gain_db=12.0,
    )
    levels = pair_levels(model, left, right, np.array([[2.0, 2.6, 1.1]]), truth)
    frequency_hz = np.arange(15.0, 300, 0.25)
    sides = {}
    for name, level in (("left", levels.left_db), ("right", levels.right_db)):
        curve = np.interp(np.log(frequency_hz), np.log(CENTRES_HZ), level[:, 0])
        sides[name] = {"frequency_hz": frequency_hz.tolist(), "level_db": curve.tolist()}
    where = {"left_m": [*left[0]], "right_m": [*right[0]], "seat_m": [2.0, 2.6, 1.1]}
    document = {"schema": 1, "command": "read", "bass": sides, "room": where if places else None}
    path.write_text(json.dumps(document), encoding="utf-8")


def test_choices_as_json(room: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Invariant: the keys promised, within the ranges asked.
    assert cli.run(["place", str(room), *SMALL, "--json", "-"]) == 0
    captured = capsys.readouterr()
    document = json.loads(captured.out)
    for choice in document["choices"]:
        assert 0.4 <= choice["front_wall_m"] <= 1.4
        assert choice["half_spread_m"] == pytest.approx(0.9)
        assert choice["seat_m"] == pytest.approx(2.6)
        assert {"evenness_db", "strength_db", "worst_dip_db", "holds_percent"} <= choice.keys()
    assert len(document["map"]) == document["n_places"]
    assert "evenest" in captured.err
    assert "Schroeder" in captured.err


def test_a_walk_from_its_plan_to_its_end(
    room: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: readings of a lossier, larger room; what is filled in stays.
    walk = tmp_path / "walk.toml"
    words = ["place", str(room), *SMALL, "--walk", str(walk)]
    assert cli.run(words) == 0
    assert "Measure at these places" in capsys.readouterr().out
    stops = tomllib.loads(walk.read_text(encoding="utf-8"))["stop"]
    assert len(stops) >= 2
    for number, stop in enumerate(stops):
        save_reading(tmp_path / f"{number}.json", room, stop["front_wall_m"])
        stop["reading"] = f"{number}.json"
    import tomli_w

    walk.write_text(tomli_w.dumps({"stop": stops}), encoding="utf-8")
    assert cli.run([*words, "--figures", str(tmp_path / "figures")]) == 0
    printed = capsys.readouterr().out
    assert f"{len(stops)} readings: the unfitted room is off" in printed
    kept = tomllib.loads(walk.read_text(encoding="utf-8"))["stop"]
    assert kept[: len(stops)] == stops
    names = {path.name for path in (tmp_path / "figures").iterdir()}
    assert {"map.png", "plan.svg", "fit.png"} <= names


def test_readings_bring_their_places(
    room: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input.
    options = []
    for number, front_m in enumerate((0.4, 0.8, 1.2)):
        save_reading(tmp_path / f"{number}.json", room, front_m, places=True)
        options += ["--reading", str(tmp_path / f"{number}.json")]
    assert cli.run(["place", str(room), *SMALL, *options, "--json", "-"]) == 0
    fit = json.loads(capsys.readouterr().out)["fit"]
    assert fit["n_readings"] == 3
    assert fit["kept"]
    assert fit["left_out_db"] < fit["left_out_before_db"]


def test_nothing_is_advised_by_the_fit(
    room: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Invariant: readings of a lossier, larger room leave the advice as the file alone gives it;
    # what the fit would choose stands beside it, is another, and is called no advice.
    options = []
    for number, front_m in enumerate((0.4, 0.8, 1.2)):
        save_reading(tmp_path / f"{number}.json", room, front_m, places=True)
        options += ["--reading", str(tmp_path / f"{number}.json")]
    documents = []
    for more in ([], options):
        assert cli.run(["place", str(room), *SMALL, *more, "--json", "-"]) == 0
        captured = capsys.readouterr()
        documents.append(json.loads(captured.out))
    alone, fitted = documents
    assert fitted["fit"]["kept"]
    assert fitted["choices"] == alone["choices"]
    assert fitted["map"] == alone["map"]
    beside = fitted["fit"]["choices"]
    assert beside[0].keys() == alone["choices"][0].keys()
    assert beside != alone["choices"]
    said = " ".join(captured.err.split())
    assert "The advice above is the room file's alone." in said
    assert "move nothing by them" in said
    assert "the file's advice was as good or better" in said
    assert said.count("from the front wall, each") == len(alone["choices"])


def test_readings_that_contradict_the_room_leave_no_advice(
    room: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: levels thrown about by 9 dB. No choice, no new stop, nothing overwritten.
    rng = np.random.default_rng(3)
    options = []
    for number, front_m in enumerate((0.4, 0.8, 1.2)):
        path = tmp_path / f"{number}.json"
        save_reading(path, room, front_m, places=True)
        document = json.loads(path.read_text(encoding="utf-8"))
        for side in ("left", "right"):
            curve = np.array(document["bass"][side]["level_db"])
            wild = np.repeat(rng.normal(scale=9, size=curve.size // 20 + 1), 20)[: curve.size]
            document["bass"][side]["level_db"] = (curve + wild).tolist()
        path.write_text(json.dumps(document), encoding="utf-8")
        options += ["--reading", str(path)]
    walk = tmp_path / "walk.toml"
    words = ["place", str(room), *SMALL, *options, "--walk", str(walk)]
    assert cli.run([*words, "--json", "-", "--figures", str(tmp_path / "figures")]) == 0
    captured = capsys.readouterr()
    document = json.loads(captured.out)
    assert document["choices"] == []
    assert document["fit"]["contradicted"]
    assert "No place is advised" in captured.err
    assert "evenest" not in captured.err
    assert not walk.exists()
    assert {path.stem for path in (tmp_path / "figures").iterdir()} == {"fit"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--front", "1:0:2"], "FROM 1 m is beyond TO 0 m"),
        (["--front", "0.4:1:0"], "STEP 0 m must be at least"),
        (["--front", "0.4:1"], "FROM:TO:STEP"),
        (["--seat", "2,1:3:0.1"], "write 2.1"),
        (["--clearance", "nan"], "is no number"),
        (["--lower-end", "500"], "--lower-end"),
        (["--front", "4.5:4.6:0.1"], "most are forbidden by 'the seat 1 m behind the line"),
        (["--reading", "none.json"], "none.json"),
    ],
)
def test_what_is_refused(
    room: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["place", str(room), *words]) == 2
    assert said in capsys.readouterr().err


def test_a_reading_without_places_is_refused(
    room: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    save_reading(tmp_path / "one.json", room, 0.8)
    assert cli.run(["place", str(room), "--reading", str(tmp_path / "one.json")]) == 2
    assert "holds no places" in capsys.readouterr().err
