"""The timing of left and right that a saved reading holds, and when it isn't taken."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from analysis.placement.band_levels import CENTRES_HZ
from analysis.room.floor_plan import rectangle
from analysis.room.room import Loudspeaker, Point, Positions, Room
from measure.errors import ReadingFileError
from measure.placement.measurement_plan_file import read_measured_place

SPACE = Room(plan=rectangle(width_m=4.0, length_m=5.0), height_m=2.5)
POSITIONS = Positions(
    left=Loudspeaker(tweeter=Point(x_m=1.1, y_m=0.8, z_m=1.0)),
    right=Loudspeaker(tweeter=Point(x_m=2.9, y_m=0.8, z_m=1.0)),
    seat=Point(x_m=2.0, y_m=2.6, z_m=1.1),
)
RATE_HZ = 8000


def save(folder: Path, *, arrival: dict[str, Any] | None = None, sound: bool = True) -> Path:
    """Save a reading of two clicks, the left one 1 ms later."""
    curve = {
        "frequency_hz": np.arange(15.0, 300, 0.25).tolist(),
        "level_db": np.zeros(1140).tolist(),
        "window_s": [-0.1, 1.0],
    }
    document = {
        "schema": 1,
        "command": "read",
        "bass": {"left": curve, "right": curve},
        "arrival": arrival or {"left_s": 0.011, "right_s": 0.010},
        "room": {"left_m": [1.1, 0.8, 1.0], "right_m": [2.9, 0.8, 1.0], "seat_m": [2.0, 2.6, 1.1]},
        "impulse_responses": {
            "start_s": -0.1,
            "sample_rate_hz": RATE_HZ,
            "band_hz": [10.0, 3000.0],
            "left_gaps_hz": [],
            "right_gaps_hz": [],
        },
    }
    path = folder / "one.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    if sound:
        samples = np.zeros((9600, 2))
        samples[888, 0] = samples[880, 1] = 0.5
        soundfile.write(folder / "one.ir.wav", samples, RATE_HZ, subtype="FLOAT")
    return path


def test_the_phase_of_left_against_right_is_read(tmp_path: Path) -> None:
    # Closed form: 1 ms later lags by 2 pi f times 1 ms.
    found = read_measured_place(save(tmp_path), SPACE, POSITIONS).coherence
    assert found is not None
    turned = np.angle(found * np.exp(2j * np.pi * CENTRES_HZ * 1e-3))
    np.testing.assert_allclose(turned, 0, atol=0.01)


def test_without_responses_or_where_an_arrival_was_withheld_there_is_no_timing(
    tmp_path: Path,
) -> None:
    # Invariant: the levels are read all the same.
    withheld = save(tmp_path, arrival={"left_s": None, "right_s": 0.01})
    assert read_measured_place(withheld, SPACE, POSITIONS).coherence is None
    (tmp_path / "one.ir.wav").unlink()
    alone = read_measured_place(save(tmp_path, sound=False), SPACE, POSITIONS)
    assert alone.coherence is None
    assert np.isfinite(alone.left_db).all()


def test_responses_of_another_reading_are_refused(tmp_path: Path) -> None:
    path = save(tmp_path)
    soundfile.write(tmp_path / "one.ir.wav", np.zeros((100, 2)), 44100, subtype="FLOAT")
    with pytest.raises(ReadingFileError, match="read the recording again"):
        read_measured_place(path, SPACE, POSITIONS)
