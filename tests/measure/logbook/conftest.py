"""A logbook, and takes in it that cost milliseconds."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from analysis.signals.programme import Programme
from measure.logbook.folder import Logbook, new_logbook
from measure.takes.facts import Driver, Level, Occasion, Played, Sound, TakeFacts
from measure.takes.folder import begin_take

RATE_HZ = 48_000

Keep = Callable[..., Path]


@pytest.fixture
def logbook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Logbook:
    monkeypatch.setenv("APEXLINE_HOME", str(tmp_path / "home"))
    return new_logbook(tmp_path / "log")


@pytest.fixture
def keep(logbook: Logbook, programme: Programme) -> Keep:
    """Return a function that keeps a take of a tenth of a second of noise."""

    def kept(name: str, *, number: int = 0, arrival_mm: float | None = None, **labels: str) -> Path:
        begun = begin_take(logbook.takes, name, sample_rate_hz=RATE_HZ, n_channels=1)
        begun.write(np.random.default_rng(number).uniform(-0.1, 0.1, (1, 4800)))
        begun.write_programme(programme)
        if arrival_mm is not None:
            reading = {
                "usable": True,
                "arrival": {"left_minus_right_mm": arrival_mm, "in_room_std_mm": 0.4},
                "level": {"left_minus_right_db": 0.3, "std_db": 0.1},
            }
            (begun.path / "reading.json").write_text(json.dumps(reading), encoding="utf-8")
        started = datetime(2026, 3, 1, 20, 15, tzinfo=UTC) + timedelta(days=number)
        return begun.finish(
            TakeFacts(
                take=Occasion(name=name, started=started, **labels),
                device=Sound(path="a test", sample_rate_hz=RATE_HZ),
                level=Level(level_dbfs=-20.0),
                programme=Played(planned_order="LRRL", played_order="LRRL"),
                driver=Driver(n_xruns=0),
            )
        )

    return kept
