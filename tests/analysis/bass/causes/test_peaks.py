"""Causes of peaks: how ringing counts."""

from __future__ import annotations

import pytest

from analysis.basics.air import air_at
from analysis.bass.causes.cause import Cause
from analysis.bass.causes.peaks import causes_of_peaks, relative_ringing
from analysis.bass.features import Feature
from analysis.room.prediction import predict
from analysis.room.room import Loudspeaker, Point, Positions, rectangular_room


def _peak(frequency_hz: float, decay_s: float | None = None) -> Feature:
    return Feature(
        kind="peak",
        frequency_hz=frequency_hz,
        frequency_std_hz=0.1,
        level_db=6.0,
        prominence_db=6.0,
        decay_s=decay_s,
    )


def _best(causes: list[Cause]) -> Cause:
    return max(causes, key=lambda one: one.score)


def test_long_ringing_supports_a_mode() -> None:
    """Known input: decay times against their neighbours'."""
    peaks = [
        _peak(33.0, 0.9),
        _peak(45.0, 0.3),
        _peak(60.0, 0.3),
        _peak(70.0),
    ]
    assert relative_ringing(peaks) == pytest.approx([0.75, 0.3 / 0.9, 0.3 / 0.9, 0.5])
    assert relative_ringing(peaks[:1]) == [0.5]
    positions = Positions(
        left=Loudspeaker(tweeter=Point(x_m=1.0, y_m=0.7, z_m=0.5)),
        right=Loudspeaker(tweeter=Point(x_m=3.0, y_m=0.7, z_m=0.5)),
        seat=Point(x_m=2.0, y_m=3.3, z_m=1.1),
    )
    prediction = predict(
        rectangular_room(length_m=5.2, width_m=4.0, height_m=2.5), positions, air_at()
    )
    long = _best(causes_of_peaks(peaks, prediction, "left")[0])
    damped = [_peak(33.0, 0.1), *peaks[1:]]
    short = _best(causes_of_peaks(damped, prediction, "left")[0])
    assert long.indices == short.indices == (1, 0, 0)
    assert long.score > short.score
