"""Entries, takes, names, tags, the bin, the archive, and what comes in and goes out."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
import tempfile
from contextlib import redirect_stdout
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from measure import cli
from measure.errors import LogbookError, MeasureError
from measure.logbook.bin_folder import bin_entries, put_back, throw_away
from measure.logbook.entries.entries import (
    Entry,
    MoveEntry,
    PairEntry,
    PlaceEntry,
    RoomEntry,
    SurveyEntry,
)
from measure.logbook.entries.store import add_entry, read_entries, read_entry
from measure.logbook.exchange.archive import adopt_take, read_archive, write_archive
from measure.logbook.folder import Logbook, new_logbook, open_logbook, takes_folder
from measure.logbook.names import same_folder
from measure.logbook.remarks import add_remarks, read_remarks, take_path
from measure.logbook.selection import Selection, select_takes
from measure.logbook.take_index import list_takes
from measure.logbook.verify import verify
from measure.takes.stored import read_take, take_microphone

NOW = datetime(2026, 3, 1, 20, 15, tzinfo=UTC)
SAMPLES = Path(__file__).parents[3] / "sample_data"

ENTRIES: list[Entry] = [
    RoomEntry(name="Attic", written=NOW, room_file="room.toml", files=("room.toml",)),
    PairEntry(
        name="Birch",
        written=NOW,
        cabinet_m=(0.2, 0.3, 0.35),
        weight_kg=8.5,
        on_loan_until=date(2026, 4, 1),
        notes='invented; "quoted"\nsecond line',
    ),
    PlaceEntry(name="by the window", written=NOW, left_m=(0.95, 0.92, 1.0), std_m=0.001),
    SurveyEntry(name="first", written=NOW, survey_file="survey.toml"),
    MoveEntry(name="m1", written=NOW, before="a", left_away_m=0.007, expected_m=0.0),
]

texts = st.text(min_size=1, max_size=300).filter(str.strip)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: type(entry).__name__)
def test_an_entry_is_written_and_read_back(logbook: Logbook, tmp_path: Path, entry: Entry) -> None:
    # Known input.
    attached = tmp_path / "room.toml"
    attached.write_text("length_m = 5\n", encoding="utf-8")
    path = add_entry(logbook, entry, files={name: attached for name in entry.files})
    assert read_entry(logbook, type(entry), entry.name) == entry
    assert {file.name for file in path.iterdir()} == {"entry.toml", *entry.files}


@given(name=texts, notes=texts)
@settings(max_examples=30, deadline=None)
def test_any_name_and_any_words_come_back(name: str, notes: str) -> None:
    """Invariant: what a person writes is kept to the letter, in a folder safe everywhere."""
    with tempfile.TemporaryDirectory() as folder:
        logbook = new_logbook(Path(folder) / "log")
        entry = PairEntry(name=name, written=NOW, notes=notes)
        try:
            path = add_entry(logbook, entry)
        except UnicodeEncodeError:
            # Lone surrogates are no text; the command line turns them into it first.
            assert any("\ud800" <= sign <= "\udfff" for sign in name + notes)
            return
        assert read_entry(logbook, PairEntry, name) == entry
        assert path.parent == logbook.path / "pairs"
        assert not set(path.name) & set('<>:"/\\|?*')
        assert len(path.name.encode()) <= 140
        with pytest.raises(LogbookError, match="already"):
            add_entry(logbook, entry)


def test_names_that_some_system_takes_for_one_are_one(logbook: Logbook) -> None:
    # Known input: Windows and macOS fold capitals; macOS composes accents.
    add_entry(logbook, PairEntry(name="Caf\u00e9", written=NOW))
    for same in ("CAF\u00c9", "cafe\u0301"):
        with pytest.raises(LogbookError, match="already"):
            add_entry(logbook, PairEntry(name=same, written=NOW))
    assert same_folder(logbook.path / "pairs", "other") is None


def test_an_entry_of_another_schema_is_refused_and_stays(logbook: Logbook) -> None:
    # Known input: the number changed by hand, as another version would have written it.
    file = add_entry(logbook, ENTRIES[4]) / "entry.toml"
    file.write_text(file.read_text("utf-8").replace("schema = 1", "schema = 2"), encoding="utf-8")
    before = file.read_bytes()
    with pytest.raises(LogbookError, match="schema 2, but this program reads 1: use the version"):
        read_entry(logbook, MoveEntry, "m1")
    assert file.read_bytes() == before


def test_takes_are_listed_selected_and_found(logbook: Logbook, keep: Any) -> None:
    # Known input.
    keep("first", number=0, pair="Birch", room="Attic", arrival_mm=7.0)
    keep("second", number=1, pair="Birch", place="by the window", arrival_mm=0.1)
    keep("troisième", number=2, pair="Elm")
    add_remarks(logbook, take_path(logbook, "second"), add_tags=["best"], texts=["Curtain drawn"])
    listed = list_takes(logbook)
    assert [one.name for one in listed.takes] == ["first", "second", "troisième"]
    assert listed.takes[0].arrival_mm == 7.0
    assert listed.takes[2].usable is None

    def names(**wanted: Any) -> list[str]:
        return [one.name for one in select_takes(listed.takes, Selection(**wanted))]

    assert names(pair="BIRCH") == ["first", "second"]
    assert names(place="by the window") == ["second"]
    assert names(since=date(2026, 3, 2)) == ["second", "troisième"]
    assert names(until=date(2026, 3, 1)) == ["first"]
    assert names(tags=("best",)) == ["second"]
    assert names(words=("curtain", "birch")) == ["second"]
    assert names(words=("troisieme",)) == ["troisième"]


def test_the_list_follows_every_change(logbook: Logbook, keep: Any) -> None:
    # Invariant: what is remembered never shows through.
    first = keep("first", arrival_mm=7.0)
    assert list_takes(logbook) == list_takes(logbook)
    add_remarks(logbook, first, add_tags=["best"])
    assert list_takes(logbook).takes[0].tags == ("best",)
    keep("second", number=1)
    throw_away(logbook, first)
    assert [one.name for one in list_takes(logbook).takes] == ["second"]
    (memory,) = (logbook.path.parent / "home" / "logbooks").iterdir()
    kept = memory.read_text(encoding="utf-8")
    memory.write_text("{damaged", encoding="utf-8")
    assert [one.name for one in list_takes(logbook).takes] == ["second"]
    # Another logbook's, under the same key.
    place = os.fsencode(logbook.path.resolve()).hex()
    assert place in kept
    memory.write_text(kept.replace(place, "00").replace("second", "other"), encoding="utf-8")
    assert [one.name for one in list_takes(logbook).takes] == ["second"]


def test_programs_that_list_at_once_all_see_the_same(logbook: Logbook, keep: Any) -> None:
    # Invariant: six processes, none of which finds anything remembered.
    for number in range(5):
        keep(f"take {number}", number=number)
    words = [sys.executable, "-m", "measure", "log", "--log", str(logbook.path)]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[3])}
    started = [
        subprocess.Popen(words, env=environment, stdout=subprocess.PIPE, text=True)
        for _ in range(6)
    ]
    printed = {one.communicate(timeout=60)[0] for one in started}
    assert len(printed) == 1
    assert "5 of 5 takes" in printed.pop()
    assert len(list((logbook.path.parent / "home" / "logbooks").iterdir())) == 1


def test_a_damaged_take_is_named_and_the_others_listed(logbook: Logbook, keep: Any) -> None:
    # Known input: facts cut off, samples changed, and a take without its end.
    for number, name in enumerate(("whole", "cut", "changed", "unfinished")):
        keep(name, number=number)
    facts = logbook.takes / "cut" / "take.toml"
    facts.write_text(facts.read_text(encoding="utf-8")[:300], encoding="utf-8")
    raw = bytearray((logbook.takes / "changed" / "recording.wav").read_bytes())
    raw[-200] ^= 1
    (logbook.takes / "changed" / "recording.wav").write_bytes(raw)
    (logbook.takes / "unfinished" / "take.toml").unlink()
    listed = list_takes(logbook)
    assert [one.name for one in listed.takes] == ["whole", "changed"]
    assert [name for name, _ in listed.unfinished] == ["unfinished"]
    assert "cut" in listed.problems[0]
    verdicts = {one.path.name: one.verdict for one in verify(logbook)}
    assert verdicts == {
        "whole": "whole",
        "cut": "damaged",
        "changed": "damaged",
        "unfinished": "unfinished",
    }


def test_nothing_is_deleted_and_all_can_be_brought_back(logbook: Logbook, keep: Any) -> None:
    # Invariant: away and back is as before.
    take = keep("first")
    before = {path.name: path.read_bytes() for path in take.iterdir()}
    there = throw_away(logbook, take)
    assert not take.exists()
    assert bin_entries(logbook) == [there]
    keep("first", number=1)
    with pytest.raises(LogbookError, match="is there"):
        put_back(logbook, there)
    throw_away(logbook, take)
    assert len(bin_entries(logbook)) == 2
    assert put_back(logbook, there) == take.resolve()
    assert {path.name: path.read_bytes() for path in take.iterdir()} == before
    for outside in (logbook.path, logbook.path.parent, logbook.path / "logbook.toml"):
        with pytest.raises(LogbookError):
            throw_away(logbook, outside)


def test_an_archive_brings_everything_back(logbook: Logbook, keep: Any, tmp_path: Path) -> None:
    # Invariant: packed and unpacked is the same, and the same content is the same bytes.
    throw_away(logbook, keep("gone"))
    keep("Élan/ 1 ☕", number=1)
    add_entry(logbook, PairEntry(name="Birch", written=NOW))
    n_files = write_archive(logbook, tmp_path / "one.zip")
    write_archive(logbook, tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()
    assert read_archive(tmp_path / "one.zip", tmp_path / "copy") == n_files
    copy = open_logbook(tmp_path / "copy")
    assert read_entries(copy, PairEntry) == read_entries(logbook, PairEntry)
    assert list_takes(copy).takes == list_takes(logbook).takes
    assert {one.verdict for one in verify(copy)} == {"whole"}
    with pytest.raises(LogbookError, match="exists"):
        read_archive(tmp_path / "one.zip", tmp_path / "copy")
    raw = bytearray((tmp_path / "one.zip").read_bytes())
    raw[len(raw) // 2] ^= 0xFF
    (tmp_path / "bad.zip").write_bytes(raw)
    with pytest.raises(LogbookError):
        read_archive(tmp_path / "bad.zip", tmp_path / "bad")


def test_a_take_from_elsewhere_is_adopted_as_it_is(
    logbook: Logbook, keep: Any, tmp_path: Path
) -> None:
    # Invariant: the same bytes, and none without its checksum.
    there = keep("first").rename(tmp_path / "first")
    copy = adopt_take(logbook, there)
    assert {p.name: p.read_bytes() for p in copy.iterdir()} == {
        p.name: p.read_bytes() for p in there.iterdir()
    }
    with pytest.raises(MeasureError, match="already"):
        adopt_take(logbook, there)
    assert takes_folder(logbook.path) == logbook.takes
    assert takes_folder(tmp_path) == tmp_path


def run(*words: str, status: int = 0) -> str:
    """Run a command and return what it printed."""
    with redirect_stdout(io.StringIO()) as printed:
        assert cli.run(words) == status
    return printed.getvalue()


def test_a_recording_is_imported_read_and_exported(logbook: Logbook, tmp_path: Path) -> None:
    # Second method: the CSV's curve is the reading's, the WAV holds its responses, and AES69
    # is read back by the reference library.
    sofar = pytest.importorskip("sofar")
    log = ["log", "--log", str(logbook.path)]
    recording, sheet = SAMPLES / "before.flac", SAMPLES / "programme.sheet.toml"
    run(*log, "import", str(recording), "--sweep", str(sheet), "--name", "sample", "--pair", "Elm")
    take = read_take(logbook.takes / "sample")
    kept, rate_hz = soundfile.read(take.recording, dtype="float32")
    given_samples, given_hz = soundfile.read(recording, dtype="float32", always_2d=True)
    assert rate_hz == given_hz
    assert np.array_equal(kept, given_samples[:, 0])
    reading = json.loads((take.path / "reading.json").read_text(encoding="utf-8"))
    out = [tmp_path / name for name in ("c.csv", "r.wav", "r.sofa")]
    words = ["export", "sample", "--curves", str(out[0]), "--responses", str(out[1])]
    run(*log, *words, "--sofa", str(out[2]))
    with out[0].open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    found = [float(row["left_level_db"]) for row in rows if row["left_level_db"]]
    said = [value for value in reading["bass"]["left"]["level_db"] if value is not None]
    np.testing.assert_allclose(found, said, atol=6e-4)
    responses, _ = soundfile.read(out[1])
    sofa = sofar.read_sofa(str(out[2]), verbose=False)
    np.testing.assert_allclose(sofa.Data_IR[:, 0, :], responses.T, atol=1e-7)
    run(*log, "adopt", str(take.path.rename(tmp_path / "again")))
    take_again = logbook.takes / "again"
    assert take_again.is_dir()
    groups = ["--before", "again", "--after", "again"]
    assert "nothing differs" in run(*log, "compare", *groups)
    text = run(*log, "--find", "elm")
    assert "sample" in text
    assert "1 of 1 takes" in text
    assert run(*log, *words, status=2) == ""


def test_the_commands_keep_and_show(logbook: Logbook, keep: Any, tmp_path: Path) -> None:
    # Known input, typed as a person does.
    keep("before", arrival_mm=-7.0)
    keep("after", number=1, arrival_mm=0.2)
    log = ["log", "--log", str(logbook.path)]
    run(*log, "add", "pair", "Birch", "--cabinet", "0.2,0.3,0.35", "--on-loan-until", "2026-04-01")
    assert read_entry(logbook, PairEntry, "birch").cabinet_m == (0.2, 0.3, 0.35)
    words = ["add", "move", "m1", "--before", "before", "--after", "after", "--left-away", "7"]
    assert "promise was kept" in run(*log, *words)
    picture = tmp_path / "seat.jpg"
    picture.write_bytes(b"not really")
    run(*log, "say", "after", "--tag", "best", "--remark", "quiet", "--photograph", str(picture))
    shown = run(*log, "show", "after")
    assert "best" in shown
    assert "quiet" in shown
    assert read_remarks(logbook.takes / "after").photographs == ("photograph-seat.jpg",)
    assert "4 whole, 0 unfinished, 0 damaged" in run(*log, "--verify")
    run(*log, "--json", str(tmp_path / "list.json"))
    listed = json.loads((tmp_path / "list.json").read_text(encoding="utf-8"))
    assert listed["takes"][1]["tags"] == ["best"]
    run(*log, "discard", "after")
    assert "1 of 1 takes" in run(*log)
    run(*log, "show", "after", status=2)
    run("log", "--log", str(tmp_path), "add", "pair", "x", status=2)


def test_a_survey_files_itself(logbook: Logbook) -> None:
    # Known input: the sample's survey, kept byte for byte.
    survey = SAMPLES / "survey-before.toml"
    assert str(logbook.path) in run("survey", str(survey), "--log", str(logbook.path))
    (entry,) = read_entries(logbook, SurveyEntry)[0]
    (path,) = (logbook.path / "surveys").iterdir()
    assert (path / entry.survey_file).read_bytes() == survey.read_bytes()
    run("survey", str(survey), "--log", str(logbook.path.parent), status=2)


def test_the_microphones_correction_stays_with_the_take(logbook: Logbook, tmp_path: Path) -> None:
    # Known input: a correction of 6 dB at all frequencies lifts each curve by 6 dB, in the
    # reading and in the page, long after its file is gone.
    correction = tmp_path / "omni.txt"
    correction.write_bytes(b"* invented\n20 -6\n20000 -6\n")
    sheet = SAMPLES / "programme.sheet.toml"
    words = ["import", str(SAMPLES / "before.flac"), "--sweep", str(sheet), "--name"]
    log = ["log", "--log", str(logbook.path)]
    run(*log, *words, "bare")
    run(*log, *words, "mended", "--mic-correction", str(correction), "--mic-angle", "90")
    raw = correction.read_bytes()
    correction.unlink()
    take = read_take(logbook.takes / "mended")
    assert take.microphone is not None
    assert take.microphone.read_bytes() == raw
    kept = take_microphone(take)
    assert kept is not None
    assert kept.at_db(1000.0) == 6.0
    assert kept.incidence_deg == 90
    curves = [
        json.loads((logbook.takes / name / "reading.json").read_text(encoding="utf-8"))["bass"]
        for name in ("bare", "mended")
    ]
    low, high = (np.array(curve["left"]["level_db"], dtype=float) for curve in curves)
    np.testing.assert_allclose(high - low, 6.0, atol=2e-3)
    page = tmp_path / "page.html"
    run("report", "mended", "--log", str(logbook.path), "--out", str(page))
    text = page.read_text(encoding="utf-8")
    assert "omni.txt, kept in the take, for 90°" in text
    assert "kept only the name" not in text
    assert "no correction applied" not in text
    assert "+6.0 dB at 1000 Hz" in text
    (take.path / "microphone.txt").write_bytes(raw.replace(b"-6", b"-7"))
    assert {one.path.name: one.verdict for one in verify(logbook)}["mended"] == "damaged"
    with pytest.raises(MeasureError, match="isn't the correction"):
        read_take(take.path)
    (take.path / "microphone.txt").unlink()
    with pytest.raises(MeasureError, match="can't be read"):
        read_take(take.path)
