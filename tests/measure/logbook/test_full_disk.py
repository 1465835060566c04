"""A real file system of a few megabytes that runs full: only what didn't fit is lost."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from measure import cli
from measure.errors import MeasureError
from measure.logbook.bin_folder import throw_away
from measure.logbook.entries.entries import PairEntry
from measure.logbook.entries.store import add_entry, read_entries
from measure.logbook.exchange.archive import adopt_take, write_archive
from measure.logbook.folder import Logbook, new_logbook
from measure.logbook.remarks import add_remarks, read_remarks
from measure.logbook.take_index import list_takes
from measure.logbook.verify import verify
from measure.takes.facts import Driver, Level, Occasion, Played, Sound, TakeFacts
from measure.takes.folder import begin_take

SAMPLES = Path(__file__).parents[3] / "sample_data"
RATE_HZ = 48_000
SECOND = np.full((1, RATE_HZ), 0.1)
NOW = datetime(2026, 3, 1, tzinfo=UTC)
PROGRAMME = Programme(
    sweep=Sweep(start_hz=100, stop_hz=10_000, duration_s=0.05, level_dbfs=-20),
    order="LR",
    sample_rate_hz=RATE_HZ,
    lead_in_s=0.05,
    tail_s=0.05,
)

Disk = Callable[[int], Path]


@pytest.fixture
def disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Disk]:
    """Yield what mounts a file system of so many megabytes; the state folder is on it too."""
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("only the superuser on Linux can mount a small file system")
    place = tmp_path / "disk"
    place.mkdir()

    def mounted(megabytes: int) -> Path:
        words = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(place)]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            pytest.skip(f"no small file system can be mounted here: {done.stderr.strip()}")
        monkeypatch.setenv("APEXLINE_HOME", str(place / "home"))
        return place

    yield mounted
    subprocess.run(["umount", str(place)], capture_output=True, check=False)


def keep(logbook: Logbook, name: str, n_seconds: int) -> Path:
    """Keep a take second by second; where it can't be, leave it as the program does."""
    begun = begin_take(logbook.takes, name, sample_rate_hz=RATE_HZ, n_channels=1)
    try:
        for _ in range(n_seconds):
            begun.write(SECOND)
        begun.write_programme(PROGRAMME)
        return begun.finish(
            TakeFacts(
                take=Occasion(name=name, started=NOW),
                device=Sound(path="a test", sample_rate_hz=RATE_HZ),
                level=Level(level_dbfs=-20.0),
                programme=Played(planned_order="LR", played_order="LR"),
                driver=Driver(n_xruns=0),
            )
        )
    except MeasureError as problem:
        begun.abandon(str(problem))
        raise


def test_only_the_take_that_did_not_fit_is_lost(disk: Disk) -> None:
    # Known input: 2 MB; a take of 1 s is 0.2 MB, one of 20 s would be 4 MB.
    place = disk(2)
    logbook = new_logbook(place / "log")
    keep(logbook, "first", 1)
    with pytest.raises(MeasureError, match="disk is full") as told:
        keep(logbook, "too long", 20)
    assert "\n" not in str(told.value)
    listed = list_takes(logbook)
    assert [one.name for one in listed.takes] == ["first"]
    ((name, reason),) = listed.unfinished
    assert name == "too long.unfinished"
    assert reason
    verdicts = {one.path.name: one.verdict for one in verify(logbook)}
    assert verdicts == {"first": "whole", "too long.unfinished": "unfinished"}
    # What was recorded before is kept, and with room again the next take is.
    recorded = logbook.takes / name / "recording.wav"
    assert recorded.stat().st_size > 4 * RATE_HZ
    shutil.move(logbook.takes / name, place.parent / "elsewhere")
    keep(logbook, "next", 1)
    assert [one.name for one in list_takes(logbook).takes] == ["first", "next"]


def test_on_a_full_disk_nothing_that_was_there_changes(disk: Disk) -> None:
    # Invariant: each way to write fails in one sentence or succeeds, and all is whole.
    place = disk(2)
    logbook = new_logbook(place / "log")
    first = keep(logbook, "first", 1)
    other = Path(shutil.copytree(first, place.parent / "other"))
    add_entry(logbook, PairEntry(name="Birch", written=NOW))
    add_remarks(logbook, first, add_tags=["best"])
    with pytest.raises(OSError, match="No space"):
        (place / "filler").write_bytes(b"x" * 4_000_000)
    long = "x" * 8000
    attempts: list[Callable[[], object]] = [
        lambda: add_entry(logbook, PairEntry(name="Elm", written=NOW, notes=long)),
        lambda: add_remarks(logbook, first, texts=[long]),
        lambda: adopt_take(logbook, other),
        lambda: write_archive(logbook, place / "all.zip"),
        lambda: keep(logbook, "second", 1),
    ]
    for attempt in attempts:
        with pytest.raises(MeasureError) as told:
            attempt()
        said = str(told.value).replace(str(place), "")
        assert "No space left on device" in said
        assert "make room" in said
        assert len(said) < 160
    assert [entry.name for entry in read_entries(logbook, PairEntry)[0]] == ["Birch"]
    assert read_remarks(first).tags == ("best",)
    assert read_remarks(first).remarks == ()
    assert [one.name for one in list_takes(logbook).takes] == ["first"]
    assert {one.verdict for one in verify(logbook)} <= {"whole", "unfinished"}
    assert {path.name for path in place.iterdir()} <= {"log", "home", "filler"}


def test_a_command_says_that_the_disk_is_full(
    disk: Disk, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: the sample's recording of 34 s takes 6.5 MB, and only 4 are there.
    place = disk(4)
    logbook = new_logbook(place / "log")
    first = keep(logbook, "first", 1)
    log = ["log", "--log", str(logbook.path)]
    sheet = str(SAMPLES / "programme.sheet.toml")
    words = ["import", str(SAMPLES / "before.flac"), "--sweep", sheet, "--name", "sample"]
    assert cli.run([*log, *words]) == 2
    said = capsys.readouterr().err
    assert "disk is full" in said
    assert "Traceback" not in said
    assert [one.name for one in list_takes(logbook).takes] == ["first"]
    # Throwing away needs no room.
    throw_away(logbook, first)
    assert list_takes(logbook).takes == ()
