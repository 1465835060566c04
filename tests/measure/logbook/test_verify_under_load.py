"""`apexline log --verify` as a person starts it, on a machine that is busy with other work.

Takes are read by several threads, right after the start, when none of their types was needed
before. How the threads meet is chance, so the command runs many times.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from measure.logbook.folder import Logbook
from measure.logbook.remarks import add_remarks

Keep = Callable[..., Path]

ROOT = Path(__file__).parents[3]
N_RUNS = 20
N_TAKES = 6
BUSY = """
import sys, threading
ended = threading.Event()
threading.Thread(target=lambda: (sys.stdin.read(), ended.set()), daemon=True).start()
while not ended.is_set():
    pass
"""
"""A loop that ends when its standard input does: also if whoever started it was killed."""


@pytest.fixture
def busy_cores() -> Iterator[None]:
    """Keep every core busy."""
    loops = []
    try:
        for _ in range(os.cpu_count() or 1):
            loops.append(subprocess.Popen([sys.executable, "-c", BUSY], stdin=subprocess.PIPE))
        yield
    finally:
        for loop in loops:
            loop.kill()
            loop.communicate()


def verified(logbook: Logbook) -> tuple[int, str, str]:
    """Return status, output and errors of the command in a fresh process."""
    done = subprocess.run(
        [sys.executable, "-m", "measure", "log", "--log", str(logbook.path), "--verify"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


@pytest.mark.usefixtures("busy_cores")
def test_a_healthy_logbook_is_whole_however_the_threads_meet(logbook: Logbook, keep: Keep) -> None:
    # Invariant. As many at once as there are cores: the start of each costs about a second.
    for number in range(N_TAKES):
        path = keep(f"take {number}", number=number, arrival_mm=1.0)
        add_remarks(logbook, path, add_tags=["told"])
    with ThreadPoolExecutor(os.cpu_count()) as several:
        runs = list(several.map(verified, [logbook] * N_RUNS))
    assert [status for status, _, _ in runs] == [0] * N_RUNS, [errors for _, _, errors in runs]
    assert all(f"{N_TAKES} whole, 0 unfinished, 0 damaged" in text for _, text, _ in runs)
