"""The frequency fit, and which modes can be a cause at all."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.basics.air import air_at
from analysis.bass.causes.cause import (
    LEAST_QUALITY,
    NODE,
    WINDOW_SIGMAS,
    candidate_modes,
    frequency_fit,
    modal_terms,
)
from analysis.room.prediction import CURVES, predict
from analysis.room.room import Loudspeaker, Point, Positions, rectangular_room

PAIR = Positions(
    left=Loudspeaker(tweeter=Point(x_m=1.0, y_m=0.7, z_m=0.5)),
    right=Loudspeaker(tweeter=Point(x_m=3.1, y_m=0.7, z_m=0.5)),
    seat=Point(x_m=2.0, y_m=3.3, z_m=1.1),
)
ROOM = rectangular_room(length_m=5.2, width_m=4.0, height_m=2.5)


@given(st.floats(-50, 50), st.floats(0.01, 10))
def test_fit_ends_at_the_window(distance_hz: float, std_hz: float) -> None:
    """Closed form: 1 at no distance, 1/e at the window's edge, 0 beyond it."""
    fit = frequency_fit(distance_hz, std_hz)
    assert 0 <= fit <= 1
    assert (fit == 0) == (abs(distance_hz) / std_hz > WINDOW_SIGMAS)
    assert frequency_fit(0.0, std_hz) == 1
    assert frequency_fit(WINDOW_SIGMAS * std_hz * (1 - 1e-9), std_hz) == pytest.approx(math.exp(-1))


@pytest.mark.parametrize("curve", CURVES)
def test_candidate_modes_couple_and_ring(curve: str) -> None:
    """Known limits: no node at either end, and a quality above the least."""
    prediction = predict(ROOM, PAIR, air_at(), decay_s=0.1)
    candidates = candidate_modes(prediction, curve)  # type: ignore[arg-type]
    drive = np.abs(prediction.drives[curve])  # type: ignore[index]
    assert np.all(drive[candidates] >= NODE)
    assert np.all(np.abs(prediction.seat_shape)[candidates] >= NODE)
    assert np.all(prediction.modes.frequency_hz[candidates] >= LEAST_QUALITY * prediction.width_hz)
    assert 0 < np.count_nonzero(candidates) < candidates.size


def test_terms_sum_to_the_response_where_nothing_is_uncertain() -> None:
    """Invariant: far from any resonance the widening doesn't matter, and the sum is kept."""
    prediction = predict(ROOM, PAIR, air_at(), decay_s=0.5)
    terms = modal_terms(prediction, "left", prediction.frequency_hz[:3])
    np.testing.assert_allclose(terms.sum(axis=1), prediction.response["left"][:3], rtol=0.05)
