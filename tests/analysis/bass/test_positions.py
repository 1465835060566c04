"""Averages over microphone positions against closed forms and planted features."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from analysis.bass.curve import bass_curve
from analysis.bass.features import find_features
from analysis.bass.positions import average_positions, position_features
from benchmarks.modal_response import modal_response


def _curves(*gains_db: float):
    rng = np.random.default_rng(0)
    response = modal_response([35.0, 60.0], 0.5, phase=[0.0, 2.0]).impulse_response(rng)
    return [
        bass_curve(dataclasses.replace(response, samples=response.samples * 10 ** (gain / 20)))
        for gain in gains_db
    ]


def test_power_mean_and_spread() -> None:
    """Closed form: gains of 0 and 6 dB average to 10 log10((1 + 10^0.6)/2), spread 6/sqrt 2."""
    zero, six = _curves(0.0, 6.0)
    average = average_positions([zero, six])
    mean_db = 10 * math.log10((1 + 10**0.6) / 2)
    assert average.level_db == pytest.approx(zero.level_db + mean_db)
    assert average.spread_db == pytest.approx(np.full(zero.level_db.size, 6 / math.sqrt(2)))
    assert average.n_positions == 2


def test_one_spot_is_itself() -> None:
    """Invariant: the mean of one is that one, and it has no spread."""
    (curve,) = _curves(0.0)
    average = average_positions([curve])
    assert average.level_db == pytest.approx(curve.level_db)
    assert average.spread_db is None
    with pytest.raises(ValueError, match="at least one"):
        average_positions([])


def test_spots_share_what_both_cover() -> None:
    """Known input: one position was swept from 30 Hz."""
    rng = np.random.default_rng(0)
    model = modal_response([35.0, 60.0], 0.5)
    full = bass_curve(model.impulse_response(rng))
    less = bass_curve(model.impulse_response(rng, band_hz=(30.0, 20000.0)))
    average = average_positions([full, less])
    assert average.frequency_hz[0] == pytest.approx(30.0)
    assert average.spread_db == pytest.approx(np.zeros(average.frequency_hz.size), abs=1e-9)


def test_feature_at_one_position_only_is_marked() -> None:
    """Known input: the modes stay, an echo's dip is there at the centre only."""
    rng = np.random.default_rng(0)
    modes = modal_response([35.0, 60.0], 0.5, phase=[0.0, 2.0])
    still = [find_features(bass_curve(modes.impulse_response(rng, noise=1e-5))) for _ in range(2)]
    extra = modal_response([35.0, 60.0, 84.0], [0.5, 0.5, 0.8], phase=[0.0, 2.0, 1.0])
    centre = find_features(bass_curve(extra.impulse_response(rng, noise=1e-5)))
    seen = position_features(centre, still)
    by_peak = {round(s.feature.frequency_hz): s for s in seen if s.feature.kind == "peak"}
    assert by_peak[35].n_positions_seen == 3
    assert not by_peak[35].one_position_only
    assert by_peak[35].frequency_spread_hz < 0.5
    lone = next(s for place, s in by_peak.items() if abs(place - 84) <= 1)
    assert lone.n_positions_seen == 1
    assert lone.one_position_only
    assert lone.level_spread_db is None
    assert all(s.n_positions == 3 for s in seen)


def test_centre_alone_marks_nothing() -> None:
    """Known input: with no other position, nothing can be said against a feature."""
    (curve,) = _curves(0.0)
    assert not any(s.one_position_only for s in position_features(find_features(curve), []))
