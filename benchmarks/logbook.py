"""How fast a logbook of a thousand takes is listed and verified.

Run as ``python -m benchmarks.logbook``. The takes have their own names and facts; recording,
programme and sheet are links to the same files, so the disk holds them once. Listing is timed
as a person types it, in a fresh process, beside the bare interpreter and beside the libraries
that read the command line and the files. Verifying is timed beside SHA-256 over the same
recordings, one after the other, from the system's memory: it says how much the program costs,
not how fast a disk is.
"""

from __future__ import annotations

import hashlib
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from measure.logbook.folder import Logbook, new_logbook
from measure.logbook.verify import verify
from measure.takes.facts import Driver, Level, Occasion, Played, Sound, TakeFacts
from measure.takes.folder import begin_take

N_TAKES = 1000
N_ROUNDS = 9
LENGTHS_S = (2.0, 30.0)
RATE_HZ = 48_000
ALLOWED_S = 0.3

PROGRAMME = Programme(
    sweep=Sweep(start_hz=100, stop_hz=10_000, duration_s=0.05, level_dbfs=-20),
    order="LR",
    sample_rate_hz=RATE_HZ,
    lead_in_s=0.05,
    tail_s=0.05,
)
SHARED = ("recording.wav", "programme.wav", "programme.sheet.toml")


def facts(number: int) -> TakeFacts:
    """Return what is known of one take."""
    started = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=number)
    pair = ("Birch", "Elm", "Oak")[number % 3]
    return TakeFacts(
        take=Occasion(name=f"take {number}", started=started, pair=pair, room="Attic"),
        device=Sound(path="a benchmark", sample_rate_hz=RATE_HZ),
        level=Level(level_dbfs=-20.0),
        programme=Played(planned_order="LR", played_order="LR"),
        driver=Driver(n_xruns=0),
    )


def fill(logbook: Logbook, length_s: float) -> None:
    """Keep one take, and as many more with links to its files."""
    samples = np.random.default_rng(1).uniform(-0.1, 0.1, (1, round(length_s * RATE_HZ)))
    begun = begin_take(logbook.takes, "take 0", sample_rate_hz=RATE_HZ, n_channels=1)
    begun.write(samples)
    begun.write_programme(PROGRAMME)
    first = begun.finish(facts(0))
    text = (first / "take.toml").read_text(encoding="utf-8")
    for number in range(1, N_TAKES):
        take = logbook.takes / f"take {number}"
        take.mkdir()
        for name in SHARED:
            (take / name).hardlink_to(first / name)
        own = text.replace('"take 0"', f'"take {number}"')
        own = own.replace("2026-01-01 00:00:00+00:00", str(facts(number).take.started))
        own = own.replace('"Birch"', f'"{facts(number).take.pair}"')
        (take / "take.toml").write_text(own, encoding="utf-8")


def wall_s(command: list[str]) -> float:
    """Return how long a command takes by the clock on the wall."""
    begin_s = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
    return time.perf_counter() - begin_s


def time_lists(logbook: Logbook) -> None:
    """Print how long lists take."""
    words = [sys.executable, "-m", "measure", "log", "--log", str(logbook.path)]
    commands = {
        "python -c pass": [sys.executable, "-c", "pass"],
        "the libraries alone": [sys.executable, "-c", "import click, msgspec, tomllib"],
        "apexline log": words,
        "apexline log --find": [*words, "--find", "elm"],
    }
    first_s = wall_s(words)
    rounds = [{name: wall_s(one) for name, one in commands.items()} for _ in range(N_ROUNDS)]
    print(f"{N_TAKES} takes, wall time of {N_ROUNDS} rounds (allowed: {ALLOWED_S:g} s)")
    print(f"  {'':22} shortest  median  of python -c pass")
    bare_s = statistics.median(one["python -c pass"] for one in rounds)
    for name in commands:
        all_s = [one[name] for one in rounds]
        middle_s = statistics.median(all_s)
        print(f"  {name:22}  {min(all_s):5.3f} s  {middle_s:5.3f} s  {middle_s / bare_s:5.1f} x")
    print(f"  {'the very first list':22}  {first_s:5.3f} s  {'':7}  {first_s / bare_s:5.1f} x")


def shortest_s(work: Callable[[], object]) -> tuple[float, float]:
    """Return the shortest of two runs: wall time and processor time."""
    spans = []
    for _ in range(2):
        begin_s, busy_s = time.perf_counter(), time.process_time()
        work()
        spans.append((time.perf_counter() - begin_s, time.process_time() - busy_s))
    return min(spans)


def hash_all(paths: list[Path]) -> None:
    """Take SHA-256 of files as they are."""
    for path in paths:
        with path.open("rb") as file:
            hashlib.file_digest(file, "sha256")


def time_verify(logbook: Logbook, length_s: float) -> None:
    """Print how long a check of everything takes, beside SHA-256 alone."""
    paths = sorted(logbook.takes.rglob("recording.wav"))
    n_bytes = sum(path.stat().st_size for path in paths)
    plain_s, plain_busy_s = shortest_s(lambda: hash_all(paths))
    verdicts = {one.verdict for one in verify(logbook)}
    all_s, busy_s = shortest_s(lambda: list(verify(logbook)))
    print(f"{len(paths)} takes of {length_s:g} s, {n_bytes / 1e6:.0f} MB, {', '.join(verdicts)}")
    print(f"  {'':20} {'wall':>8}  {'':8}  {'':6}  processor")
    print(f"  SHA-256 of the files {plain_s:6.2f} s  {n_bytes / plain_s / 1e6:4.0f} MB/s", end="")
    print(f"  {'':6}  {plain_busy_s:6.2f} s")
    print(f"  verify               {all_s:6.2f} s  {n_bytes / all_s / 1e6:4.0f} MB/s", end="")
    print(f"  {all_s / plain_s:4.2f} x  {busy_s:6.2f} s  {busy_s / plain_busy_s:4.2f} x")


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["APEXLINE_HOME"] = str(Path(folder) / "home")
        for length_s in LENGTHS_S:
            logbook = new_logbook(Path(folder) / f"log-{length_s:g}")
            fill(logbook, length_s)
            if length_s == LENGTHS_S[0]:
                time_lists(logbook)
            time_verify(logbook, length_s)


if __name__ == "__main__":
    main()
