"""The nudge loop through PortAudio and a sound server: it follows a loudspeaker that is slid.

Truth: known input. The room's responses were planted, and are changed while the loop runs.
"""

from __future__ import annotations

import json
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from program import APEXLINE, ROOMBOX
from sound_rig import Rig

from measure.files.system import VARIABLE

C_M_S = 343.24
"""Dry air at 20 degrees, as the command assumes."""

FIRST_M = 0.0123
REPOSITORY = Path(__file__).parents[2]
PATIENCE_S = 40.0


def pair(difference_m: float, rate_hz: int) -> NDArray[np.float64]:
    """Return a direct sound and a reflection for each side, left later by a difference."""
    time_s = np.arange(2048) / rate_hz
    rows = []
    for extra_s in (difference_m / C_M_S, 0.0):
        direct, echo = (
            gain * np.sinc((time_s - at_s - extra_s) * rate_hz)
            for gain, at_s in ((0.3, 0.010), (0.1, 0.014))
        )
        rows.append((direct + echo) * np.kaiser(2 * time_s.size, 8)[-time_s.size :])
    return np.stack(rows)


def test_the_loop_follows_a_loudspeaker_that_is_slid(rig: Rig, tmp_path: Path) -> None:
    rig.tell("freewheel off")
    rig.furnish(pair(FIRST_M, rig.sample_rate_hz))
    rig.tell("noise 0.0003")
    words = ["nudge", "--json", "--level", "-26", "--accept-cautions"]
    process = subprocess.Popen(
        rig.command(*APEXLINE, *words, *ROOMBOX),
        env=rig.environment | {VARIABLE: str(tmp_path), "PYTHONUNBUFFERED": "1"},
        cwd=REPOSITORY,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        began_s = time.monotonic()
        documents = []
        for line in process.stdout:
            documents.append(json.loads(line))
            if len(documents) == 5:
                rig.furnish(pair(0.0004, rig.sample_rate_hz))
            assert time.monotonic() - began_s < PATIENCE_S
        status = process.wait(timeout=10)
    finally:
        process.kill()
        _, said = process.communicate()
    assert status == 0, said
    before = [one["left_minus_right_mm"] for one in documents[:4] if one["unsure"] is None]
    assert len(before) >= 2
    assert before == pytest.approx([1e3 * FIRST_M] * len(before), abs=0.3)
    assert documents[-1]["done"]
    assert documents[-1]["left_minus_right_mm"] == pytest.approx(0.4, abs=0.3)
    # Nothing is left sounding.
    rig.tell("reset")
    time.sleep(0.3)
    assert rig.heard() == []
