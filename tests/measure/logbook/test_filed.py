"""What files itself into the logbook: surveys with their places and moves, walks, results."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis.report.comparison.move_promise import answer_text
from analysis.report.page.groups import distance_rows
from analysis.report.page.history import move_text
from measure import cli
from measure.logbook.entries.entries import MoveEntry, PlaceEntry, SurveyEntry, WalkEntry
from measure.logbook.entries.measurement_plans import file_walk
from measure.logbook.entries.moves import answer_by_take, answer_move_in, judge_move
from measure.logbook.entries.pair_place import take_places
from measure.logbook.entries.store import add_entry, read_entries, read_entry
from measure.logbook.folder import Logbook
from measure.logbook.history import pair_moves

Keep = Callable[..., Path]

SAMPLES = Path(__file__).parents[3] / "sample_data"
BEFORE, AFTER = (SAMPLES / f"survey-{name}.toml" for name in ("before", "after"))


def move_texts(logbook: Logbook, names: set[str], pair: str) -> list[str]:
    return [move_text(one) for one in pair_moves(logbook, names, pair)]


def run(*words: object) -> None:
    assert cli.run([str(word) for word in words]) == 0


def test_a_survey_fills_its_place_and_keeps_the_moves_that_it_asks_for(
    logbook: Logbook, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Second method: the survey's own JSON, and the room file made of it.
    told = tmp_path / "told.json"
    labels = ("--pair", "Birch", "--room", "Attic", "--place", "first")
    run("survey", BEFORE, "--log", logbook.path, *labels, "--json", told)
    document = json.loads(told.read_text("utf-8"))
    place = read_entry(logbook, PlaceEntry, "first")
    assert place.left_m is not None
    assert place.left_m[0] * 1e3 == pytest.approx(
        document["walls"]["left"]["left"]["distance_mm"], abs=0.01
    )
    assert place.seat_m is not None
    assert place.seat_m[1] * 1e3 == pytest.approx(
        document["walls"]["head"]["front"]["distance_mm"], abs=0.01
    )
    assert place.std_m is not None
    assert 5e-4 < place.std_m < 5e-3
    assert place.left_toe_in_deg == pytest.approx(document["toe_in"]["left_deg"], abs=1e-3)
    (move,) = read_entries(logbook, MoveEntry)[0]
    after_mm = document["moves"][-1]["distance_after_mm"]
    assert move.expected_m is not None
    assert move.expected_m * 1e3 == pytest.approx(after_mm["left"] - after_mm["right"], abs=0.01)
    assert move.pair == "Birch"
    assert any("Slide" in step for step in move.steps)
    capsys.readouterr()

    # Known input: the second sample was surveyed after exactly these moves.
    run("survey", AFTER, "--log", logbook.path, "--pair", "Birch")
    assert "has its result: Found:" in " ".join(capsys.readouterr().out.split())
    move = read_entry(logbook, MoveEntry, move.name)
    assert move.after_survey is not None
    found = judge_move(logbook, move)
    assert found is not None
    assert found.kept
    run("survey", AFTER, "--log", logbook.path, "--pair", "Birch")
    assert "kept already" in capsys.readouterr().out
    assert len(read_entries(logbook, SurveyEntry)[0]) == 2


def test_a_survey_files_itself_where_it_is_run_in_a_logbook(
    logbook: Logbook, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(logbook.path / "takes")
    run("survey", BEFORE)
    assert len(read_entries(logbook, SurveyEntry)[0]) == 1
    monkeypatch.chdir(tmp_path)
    assert cli.run(["survey", str(BEFORE), "--pair", "Birch"]) == 2


def test_a_place_takes_its_coordinates_from_its_survey_and_keeps_its_own(
    logbook: Logbook,
) -> None:
    log = ("log", "--log", logbook.path)
    run(*log, "add", "survey", "Friday", BEFORE)
    run(*log, "add", "place", "seat by hand", "--survey", "Friday", "--seat", "2.0,3.5,1.1")
    place = read_entry(logbook, PlaceEntry, "seat by hand")
    assert place.seat_m == (2.0, 3.5, 1.1)
    assert place.left_m is not None
    assert place.std_m is None  # two uncertainties, one key: none is made up


def test_the_next_take_of_the_pair_is_a_moves_result(logbook: Logbook, keep: Keep) -> None:
    # Known input: left 7 mm farther by the move, found so within 0.4 mm.
    keep("first", number=1, arrival_mm=-7.0, pair="Birch")
    run("log", "--log", logbook.path, "add", "move", "m", "--before", "first", "--left-away", "7")
    keep("other", number=2, arrival_mm=30.0, pair="Elm")
    assert answer_by_take(logbook, "other") is None
    keep("earlier", number=0, arrival_mm=0.2, pair="Birch")
    assert answer_by_take(logbook, "earlier") is None
    keep("withheld", number=3, pair="Birch")
    assert answer_by_take(logbook, "withheld") is None
    assert "It has no result yet" in " ".join(move_texts(logbook, {"first"}, "Birch"))
    keep("second", number=4, arrival_mm=0.2, pair="birch")
    answer = answer_move_in(logbook.takes, "second")
    assert answer is not None
    assert "The promise was kept" in answer_text(answer)
    assert read_entry(logbook, MoveEntry, "m").after == "second"
    keep("third", number=5, arrival_mm=0.3, pair="Birch")
    assert answer_by_take(logbook, "third") is None
    page = " ".join(move_texts(logbook, {"first"}, "Birch"))
    assert "After first, up to second: left 7.0 mm away from the seat." in page
    assert "The promise was kept" in page


def test_a_result_that_misses_its_promise_says_so(logbook: Logbook, keep: Keep) -> None:
    # Closed form: 5 mm off, sigma of 0.4, 0.4 and 0.5 mm in quadrature.
    keep("first", number=1, arrival_mm=-7.0, pair="Birch")
    run("log", "--log", logbook.path, "add", "move", "m", "--before", "first", "--left-away", "7")
    keep("second", number=2, arrival_mm=5.0, pair="Birch")
    move = answer_by_take(logbook, "second")
    assert move is not None
    found = judge_move(logbook, move)
    assert found is not None
    assert found.off_m == pytest.approx(5e-3)
    assert found.off_std_m == pytest.approx(math.sqrt(0.4**2 + 0.4**2 + 0.5**2) * 1e-3)
    assert not found.kept


def test_no_logbook_no_answer(tmp_path: Path) -> None:
    assert answer_move_in(tmp_path, "first") is None


def test_a_result_that_is_gone_is_named_on_the_page(logbook: Logbook, keep: Keep) -> None:
    keep("first", number=1, arrival_mm=-7.0, pair="Birch")
    now = datetime(2026, 3, 5, tzinfo=UTC)
    gone = MoveEntry(name="m", written=now, before="first", after="lost", expected_m=0.0)
    add_entry(logbook, gone)
    assert "Its result can't be read" in " ".join(move_texts(logbook, {"first"}, "Birch"))


def test_a_walk_is_kept_once_for_each_thing_it_says(logbook: Logbook, tmp_path: Path) -> None:
    # Known input: the files, byte for byte.
    walk = tmp_path / "walk.toml"
    walk.write_text("[[stop]]\nfront_wall_m = 1.0\n", encoding="utf-8")
    document = {"schema": 1, "fit": {"n_readings": 3}}
    (path,) = file_walk(logbook, walk, document, room="Attic")
    assert file_walk(logbook, walk, document, room="Attic") == []
    (entry,) = read_entries(logbook, WalkEntry)[0]
    assert (entry.n_readings, entry.room) == (3, "Attic")
    assert (path / entry.walk_file).read_bytes() == walk.read_bytes()
    assert json.loads((path / entry.fit_file).read_text("utf-8")) == document


def test_the_distances_of_two_pairs_stand_beside_each_other(logbook: Logbook, keep: Keep) -> None:
    # Closed form: Pythagoras; the second pair's left loudspeaker 30 mm farther from the front.
    log = ("log", "--log", logbook.path)
    for name, y in (("one", "0.9"), ("two", "0.93")):
        where = ("--left", f"0.9,{y},1.0", "--right", "3.1,0.9,1.0", "--seat", "2.0,3.3,1.0")
        run(*log, "add", "place", name, *where, "--std", "0.002")
        keep(f"take {name}", arrival_mm=0.0, place=name)
    one, two = (take_places(logbook, f"take {name}") for name in ("one", "two"))
    assert one is not None
    assert two is not None
    rows = {row[0]: row for row in distance_rows(one, two, names=("take one", "take two"))}
    apart_mm = (math.hypot(1.1, 2.4) - math.hypot(1.1, 2.37)) * 1e3
    assert rows["left to seat"][3].startswith(f"\N{MINUS SIGN}{apart_mm:.0f} ")
    assert rows["left to front wall"][4] == "yes"
    assert rows["right to seat"][4] == "no"
    keep("nowhere", arrival_mm=0.0, place="unknown")
    assert take_places(logbook, "nowhere") is None
