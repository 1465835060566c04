"""A short programme and a plain room that several tests share."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep

RATE_HZ = 48_000


@pytest.fixture(scope="session")
def programme() -> Programme:
    """Return four passes of 2 s, 20 Hz to 20 kHz."""
    sweep = Sweep(start_hz=20, stop_hz=20_000, duration_s=2, level_dbfs=-20)
    return Programme(sweep=sweep, order="LRRL", sample_rate_hz=RATE_HZ, lead_in_s=0.5, tail_s=0.8)


@pytest.fixture(scope="session")
def room_responses() -> NDArray[np.float64]:
    """Return an invented pair: direct sound, then a decaying tail of 0.4 s."""
    rng = np.random.default_rng(11)
    n_samples = round(0.5 * RATE_HZ)
    time_s = np.arange(n_samples) / RATE_HZ
    responses = np.zeros((2, n_samples))
    for row, arrival in enumerate((400, 406)):
        tail = rng.standard_normal(n_samples) * np.exp(-6.9 * time_s / 0.4)
        responses[row] = 0.01 * tail * (time_s > (arrival + 60) / RATE_HZ)
        responses[row, arrival] += 0.3
    return responses
