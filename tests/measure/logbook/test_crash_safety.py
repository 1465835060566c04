"""Killed at any moment, two at once, on a full disk: the logbook holds what it said it held."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from measure.errors import MeasureError
from measure.logbook.entries.entries import PairEntry
from measure.logbook.entries.store import add_entry, read_entries, read_entry
from measure.logbook.folder import Logbook
from measure.logbook.remarks import read_remarks, take_path
from measure.logbook.take_index import list_takes
from measure.logbook.verify import verify

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
N_KILLS = 200
NOW = datetime(2026, 3, 1, tzinfo=UTC)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system can't fork, as the writers do")
def test_what_was_kept_survives_hundreds_of_kills(logbook: Logbook, tmp_path: Path) -> None:
    # Invariant: six writers at once, killed 200 times at random moments. Whatever a writer
    # was told is kept is there and whole; the rest is whole, or said to be unfinished.
    script = [str(HERE / "killed_writer.py"), str(logbook.path), str(N_KILLS), "7", str(tmp_path)]
    environment = os.environ | {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, *script], env=environment, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    reported = done.stdout.split("\n")[:-1]
    assert len(reported) > 30
    findings = list(verify(logbook))
    assert [one for one in findings if one.verdict == "damaged"] == []
    whole = {str(one.path.relative_to(logbook.path)) for one in findings if one.verdict == "whole"}
    unfinished = [one for one in findings if one.verdict == "unfinished"]
    assert len(unfinished) > 20
    assert all(one.text for one in unfinished)
    assert {one for one in reported if not one.startswith("tag/")} <= whole
    for one in reported:
        if one.startswith("tag/"):
            assert read_remarks(take_path(logbook, one[4:])).tags == ("told",)
    # And the next writer goes on.
    add_entry(logbook, PairEntry(name="after all", written=NOW))
    assert len(list_takes(logbook).unfinished) == sum("takes" in str(x.path) for x in unfinished)


def test_two_programs_at_once_keep_both(logbook: Logbook) -> None:
    # Invariant: two processes add 20 entries each, of which 10 have the same names.
    script = (
        "import sys\nfrom datetime import datetime, UTC\nfrom pathlib import Path\n"
        "from measure.errors import LogbookError\n"
        "from measure.logbook.entries.entries import PairEntry\n"
        "from measure.logbook.entries.store import add_entry\n"
        "from measure.logbook.folder import open_logbook\n"
        "book, me, n = open_logbook(Path(sys.argv[1])), sys.argv[2], 0\n"
        "for k in range(20):\n"
        "    name = f'shared {k}' if k % 2 else f'{me} {k}'\n"
        "    try:\n"
        "        add_entry(book, PairEntry(name=name, written=datetime.now(UTC), notes=me))\n"
        "        n += 1\n"
        "    except LogbookError:\n"
        "        pass\n"
        "print(n)"
    )
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    both = [
        subprocess.Popen(
            [sys.executable, "-c", script, str(logbook.path), me],
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        for me in ("one", "two")
    ]
    n_added = sum(int(one.communicate(timeout=30)[0]) for one in both)
    entries, problems = read_entries(logbook, PairEntry)
    assert n_added == len(entries) == 30
    assert problems == []


@pytest.mark.skipif(sys.platform != "linux", reason="limits of file size are the system's own")
def test_a_full_disk_loses_only_what_did_not_fit(logbook: Logbook, tmp_path: Path) -> None:
    # Known input: a process that may write no file beyond 4 kB, as on a full disk.
    large = tmp_path / "large.bin"
    large.write_bytes(b"x" * 100_000)
    add_entry(logbook, PairEntry(name="before", written=NOW))
    script = (
        "import resource, signal, sys\nfrom datetime import datetime, UTC\n"
        "from pathlib import Path\nfrom measure.errors import MeasureError\n"
        "from measure.logbook.entries.entries import PairEntry\n"
        "from measure.logbook.entries.store import add_entry\n"
        "from measure.logbook.folder import open_logbook\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "book = open_logbook(Path(sys.argv[1]))\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))\n"
        "files = {'large.bin': Path(sys.argv[2])}\n"
        "for name, given in (('too large', files), ('small', {})):\n"
        "    try:\n"
        "        add_entry(book, PairEntry(name=name, written=datetime.now(UTC)), files=given)\n"
        "    except MeasureError as problem:\n"
        "        print(problem)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(logbook.path), str(large)],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert done.returncode == 0, done.stderr
    assert "can't keep" in done.stdout
    names = [entry.name for entry in read_entries(logbook, PairEntry)[0]]
    assert names == ["before", "small"]
    assert {path.name for path in (logbook.path / "pairs").iterdir()} == {"before", "small"}


def test_a_damaged_entry_is_named_and_the_rest_works(logbook: Logbook) -> None:
    # Known input: one file cut in the middle.
    for name in ("oak", "elm", "ash"):
        add_entry(logbook, PairEntry(name=name, written=NOW))
    damaged = logbook.path / "pairs" / "elm" / "entry.toml"
    damaged.write_text(damaged.read_text(encoding="utf-8")[:70], encoding="utf-8")
    entries, problems = read_entries(logbook, PairEntry)
    assert [entry.name for entry in entries] == ["ash", "oak"]
    assert len(problems) == 1
    assert str(damaged) in str(problems[0])
    with pytest.raises(MeasureError, match="elm"):
        read_entry(logbook, PairEntry, "elm")
    assert [one.verdict for one in verify(logbook)] == ["whole", "damaged", "whole"]
