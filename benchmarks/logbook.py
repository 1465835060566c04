"""How fast a logbook of a thousand takes is listed and verified.

Run as ``python -m benchmarks.logbook``. The takes are copies of one, with their own names and
facts. Listing is timed as a person types it, in a fresh process, beside the bare interpreter;
verifying beside SHA-256 over the same files, read as they are.
"""

from __future__ import annotations

import hashlib
import os
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from analysis.programme import Programme
from analysis.sweep import Sweep
from measure.logbook.folder import Logbook, new_logbook
from measure.logbook.verify import verify
from measure.take_facts import Driver, Level, Occasion, Played, Sound, TakeFacts
from measure.take_folder import begin_take

N_TAKES = 1000
N_SECONDS = 2.0
RATE_HZ = 48_000
ALLOWED_S = 0.3

PROGRAMME = Programme(
    sweep=Sweep(start_hz=100, stop_hz=10_000, duration_s=0.05, level_dbfs=-20),
    order="LR",
    sample_rate_hz=RATE_HZ,
    lead_in_s=0.05,
    tail_s=0.05,
)


def fill(logbook: Logbook) -> None:
    """Keep the takes."""
    samples = np.random.default_rng(1).uniform(-0.1, 0.1, (1, round(N_SECONDS * RATE_HZ)))
    for number in range(N_TAKES):
        name = f"take {number}"
        begun = begin_take(logbook.takes, name, sample_rate_hz=RATE_HZ, n_channels=1)
        begun.write(samples)
        begun.write_programme(PROGRAMME)
        started = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=number)
        pair = ("Birch", "Elm", "Oak")[number % 3]
        begun.finish(
            TakeFacts(
                take=Occasion(name=name, started=started, pair=pair, room="Attic"),
                device=Sound(path="a benchmark", sample_rate_hz=RATE_HZ),
                level=Level(level_dbfs=-20.0),
                programme=Played(planned_order="LR", played_order="LR"),
                driver=Driver(n_xruns=0),
            )
        )


def seconds(command: list[str]) -> float:
    """Return the processor time that a command takes: other programs don't lengthen it."""
    before = os.times()
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
    after = os.times()
    user_s = after.children_user - before.children_user
    return user_s + after.children_system - before.children_system


def hashed_s(logbook: Logbook) -> tuple[float, int]:
    """Return how long SHA-256 over all recordings takes, and how many bytes they have."""
    begin_s, n_bytes = time.perf_counter(), 0
    for path in logbook.takes.rglob("recording.wav"):
        raw = path.read_bytes()
        hashlib.sha256(raw).digest()
        n_bytes += len(raw)
    return time.perf_counter() - begin_s, n_bytes


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["APEXLINE_HOME"] = str(Path(folder) / "home")
        logbook = new_logbook(Path(folder) / "log")
        fill(logbook)
        bare = [sys.executable, "-c", "pass"]
        words = [sys.executable, "-m", "measure", "log", "--log", str(logbook.path)]
        first_s = seconds(words)
        times = [
            (seconds(bare), seconds(words), seconds([*words, "--find", "elm"])) for _ in range(9)
        ]
        bare_s, list_s, find_s = (statistics.median(column) for column in zip(*times, strict=True))
        print(f"{N_TAKES} takes, processor time, median of 9 (list: at most {ALLOWED_S:g} s)")
        print(f"  python -c pass        {bare_s:6.3f} s")
        print(f"  apexline log          {list_s:6.3f} s   {list_s / bare_s:5.1f} x")
        print(f"  apexline log --find   {find_s:6.3f} s   {find_s / bare_s:5.1f} x")
        print(f"  the very first list   {first_s:6.3f} s   {first_s / bare_s:5.1f} x")
        plain_s, n_bytes = hashed_s(logbook)
        begin_s = time.perf_counter()
        verdicts = {one.verdict for one in verify(logbook)}
        verify_s = time.perf_counter() - begin_s
        print(f"verify, {n_bytes / 1e6:.0f} MB of recordings, found {', '.join(verdicts)}")
        print(f"  SHA-256 of the files  {plain_s:6.3f} s")
        print(f"  verify                {verify_s:6.3f} s   {verify_s / plain_s:5.1f} x")


if __name__ == "__main__":
    main()
