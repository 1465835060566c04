"""What the room is expected to do: consistency of the parts."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.basics.air import air_at
from analysis.room.modal_response import resonances
from analysis.room.prediction import CURVES, DECAY_RANGE_S, predict
from analysis.room.room import SURFACES, Loudspeaker, Point, Positions, Room, reverberation_time_s

ROOM = Room(length_m=5.2, width_m=4.1, height_m=2.5)
PAIR = Positions(
    left=Loudspeaker(tweeter=Point(x_m=1.0, y_m=0.8, z_m=1.0), woofer_z_m=0.4),
    right=Loudspeaker(tweeter=Point(x_m=3.0, y_m=0.9, z_m=1.0), woofer_z_m=0.4),
    seat=Point(x_m=2.05, y_m=3.4, z_m=1.1),
)


def test_both_is_half_the_sum_of_the_sides() -> None:
    """Invariant: linearity, drives being means."""
    prediction = predict(ROOM, PAIR, air_at())
    response = prediction.response
    np.testing.assert_allclose(response["both"], (response["left"] + response["right"]) / 2)
    np.testing.assert_allclose(
        prediction.drives["both"], (prediction.drives["left"] + prediction.drives["right"]) / 2
    )
    assert prediction.cancellations["both"] == (
        prediction.cancellations["left"] + prediction.cancellations["right"]
    )


def test_response_is_the_sum_of_its_terms() -> None:
    """Invariant: the record's parts give the record's sum."""
    prediction = predict(ROOM, PAIR, air_at(), decay_s=0.35)
    each = resonances(prediction.modes, prediction.frequency_hz, width_hz=prediction.width_hz)
    for curve in CURVES:
        np.testing.assert_allclose(
            each @ prediction.strengths[curve], prediction.response[curve], rtol=1e-9
        )
        coupling = prediction.strengths[curve][1:] / 2.0**prediction.modes.n_directions
        np.testing.assert_allclose(prediction.coupling(curve), coupling, atol=1e-12)


def test_bass_comes_from_the_woofer() -> None:
    """Known input: raising the tweeter alone changes nothing, the woofer does."""
    before = predict(ROOM, PAIR, air_at())
    raised = dataclasses.replace(PAIR.left.tweeter, z_m=1.3)
    same = dataclasses.replace(PAIR, left=dataclasses.replace(PAIR.left, tweeter=raised))
    np.testing.assert_array_equal(
        predict(ROOM, same, air_at()).drives["left"], before.drives["left"]
    )
    moved = dataclasses.replace(PAIR, left=dataclasses.replace(PAIR.left, woofer_z_m=0.9))
    assert not np.allclose(predict(ROOM, moved, air_at()).drives["left"], before.drives["left"])


def test_decay_is_measured_or_eyrings() -> None:
    """Known input, and the limits that are documented."""
    derived = predict(ROOM, PAIR, air_at())
    assert derived.decay_is_assumed
    assert derived.decay_s == reverberation_time_s(ROOM, speed_of_sound_m_s=343.2)
    measured = predict(ROOM, PAIR, air_at(), decay_s=0.5)
    assert not measured.decay_is_assumed
    assert measured.width_hz == pytest.approx(4.4, abs=0.01)
    assert measured.schroeder_hz == pytest.approx(2000 * np.sqrt(0.5 / ROOM.volume_m3))
    hard = dataclasses.replace(ROOM, absorption=dict.fromkeys(SURFACES, 0.0))
    assert predict(hard, PAIR, air_at()).decay_s == DECAY_RANGE_S[1]
    dead = dataclasses.replace(ROOM, absorption=dict.fromkeys(SURFACES, 1.0))
    assert predict(dead, PAIR, air_at()).decay_s == DECAY_RANGE_S[0]


@pytest.mark.parametrize("decay_s", [0.0, -1.0, float("nan")])
def test_refuses_impossible_decays(decay_s: float) -> None:
    """Known input."""
    with pytest.raises(ValueError, match="decay_s"):
        predict(ROOM, PAIR, air_at(), decay_s=decay_s)


def test_refuses_a_seat_outside() -> None:
    """Known input."""
    outside = dataclasses.replace(PAIR, seat=Point(x_m=2.0, y_m=9.0, z_m=1.1))
    with pytest.raises(ValueError, match="seat: y_m 9"):
        predict(ROOM, outside, air_at())
