"""A process whose children write in a logbook without end and are killed at any moment.

``python killed_writer.py LOGBOOK N_KILLS SEED SCRATCH``. A child reports each thing that it was
told is kept; all reports are printed at the end, one a line.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from measure.logbook.entries.entries import PairEntry
from measure.logbook.entries.store import add_entry
from measure.logbook.folder import Logbook, new_logbook, open_logbook
from measure.logbook.remarks import add_remarks
from measure.takes.facts import Driver, Level, Occasion, Played, Sound, TakeFacts
from measure.takes.folder import begin_take

PROGRAMME = Programme(
    sweep=Sweep(start_hz=100, stop_hz=10_000, duration_s=0.05, level_dbfs=-20),
    order="LR",
    sample_rate_hz=48_000,
    lead_in_s=0.05,
    tail_s=0.05,
)
NOW = datetime(2026, 3, 1, tzinfo=UTC)


def write_on(logbook: Logbook, child: int, report: int, *, n_rounds: int = 1000) -> None:
    """Keep one thing after the other, and report each that is kept."""
    for number in range(n_rounds):
        # Half of them begin with an entry, so that kills fall into those as often.
        if child % 2 or number:
            pair = f"pair {child}-{number}"
            add_entry(logbook, PairEntry(name=pair, written=NOW, notes="x" * 5000))
            os.write(report, f"pairs/{pair}\n".encode())
        name = f"take {child}-{number}"
        begun = begin_take(logbook.takes, name, sample_rate_hz=48_000, n_channels=1)
        begun.write(np.full((1, 1200), 0.1))
        begun.write_programme(PROGRAMME)
        facts = TakeFacts(
            take=Occasion(name=name, started=NOW),
            device=Sound(path="a test", sample_rate_hz=48_000),
            level=Level(level_dbfs=-20.0),
            programme=Played(planned_order="LR", played_order="LR"),
            driver=Driver(n_xruns=0),
        )
        kept = begun.finish(facts)
        os.write(report, f"takes/{name}\n".encode())
        add_remarks(logbook, kept, add_tags=["told"])
        os.write(report, f"tag/{name}\n".encode())


def main() -> None:
    """Start children, six at a time, and kill each at a random moment."""
    logbook = open_logbook(Path(sys.argv[1]))
    draw = random.Random(int(sys.argv[3]))
    listen, report = os.pipe()
    os.set_blocking(listen, False)
    heard = b""
    # Once here first, so that no child spends its life loading what it needs.
    for _ in range(2):
        begin_s = time.perf_counter()
        write_on(new_logbook(Path(tempfile.mkdtemp(dir=sys.argv[4]))), 0, report, n_rounds=1)
        round_s = time.perf_counter() - begin_s
    os.read(listen, 1 << 16)
    # Six share the cores: a child's life is as long as two rounds take it then.
    longest_s = min(2 * round_s * max(1.0, 6 / (os.cpu_count() or 1)), 0.6)
    for child in range(0, int(sys.argv[2]), 6):
        pids = []
        for one in range(child, child + 6):
            pid = os.fork()
            if pid == 0:
                write_on(logbook, one, report)
                os._exit(0)
            pids.append(pid)
        time.sleep(draw.uniform(0.0, longest_s))
        for pid in pids:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
        try:
            heard += os.read(listen, 1 << 16)
        except BlockingIOError:
            continue
    sys.stdout.write(heard.decode())


if __name__ == "__main__":
    main()
