"""What a box is expected to do: consistency of the parts, and the sum against image sources."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.basics.air import air_at
from analysis.room.modes import room_modes
from analysis.room.prediction import CURVES, DECAY_RANGE_S, predict, resonances
from analysis.room.reverberation import half_power_width_hz, reverberation_time_s
from analysis.room.room import SURFACES, Loudspeaker, Point, Positions, rectangular_room

ROOM = rectangular_room(length_m=5.2, width_m=4.1, height_m=2.5)
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
    mode_hz = prediction.modes.frequency_hz
    each = resonances(mode_hz, prediction.frequency_hz, width_hz=prediction.width_hz)
    for curve in CURVES:
        np.testing.assert_allclose(
            each @ prediction.strengths[curve], prediction.response[curve], rtol=1e-9
        )
        n_directions = np.count_nonzero(prediction.modes.indices, axis=1)
        coupling = prediction.strengths[curve][1:] / 2.0**n_directions
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


RIGID = rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5)
SOURCE_M, SEAT_M = np.array([1.1, 0.7, 0.5]), np.array([2.2, 3.4, 1.1])
SPEED_M_S = 343.2


def _image_sum(frequency_hz: np.ndarray, decay_s: float) -> np.ndarray:
    """Return the sum over the images of a rigid box in air that takes 60 dB in `decay_s`."""
    per_metre = 3 * np.log(10) / (decay_s * SPEED_M_S)
    reach_m = 13 / per_metre
    axes = []
    for place, seat, size in zip(SOURCE_M, SEAT_M, RIGID.size_m, strict=True):
        n = np.arange(-np.ceil(reach_m / (2 * size)), np.ceil(reach_m / (2 * size)) + 1)
        axes.append(np.concatenate((2 * n * size + place, 2 * n * size - place)) - seat)
    squares = axes[0][:, None, None] ** 2 + axes[1][:, None] ** 2 + axes[2] ** 2
    distance_m = np.sqrt(squares[squares < reach_m**2])
    weight = np.exp(-per_metre * distance_m) / distance_m
    return np.array(
        [weight @ np.exp(-2j * np.pi * f / SPEED_M_S * distance_m) for f in frequency_hz]
    )


def test_modal_sum_is_the_image_sum() -> None:
    """Second method: image sources of a rigid box whose air takes the energy, to 0.5 %.

    The closed relation is p = c^2 / (pi V) times the modal sum, its frequency squared less
    the square of the decay constant, which the module leaves out as small.
    """
    decay_s = 0.3
    frequency = np.array([18.0, 31.0, 43.3, 55.0, 71.0, 96.0, 118.0])
    modes = room_modes(RIGID, 1800.0, speed_of_sound_m_s=SPEED_M_S)
    width_hz = half_power_width_hz(decay_s)
    shifted = np.sqrt(frequency**2 - (width_hz / 2) ** 2)
    mode_hz = modes.frequency_hz(speed_of_sound_m_s=SPEED_M_S)[1:]
    each = resonances(mode_hz, shifted, width_hz=width_hz * frequency / shifted)
    modal = each @ modes.strength(SOURCE_M, SEAT_M)
    modal *= SPEED_M_S**2 / (np.pi * RIGID.volume_m3)
    images = _image_sum(frequency, decay_s)
    np.testing.assert_allclose(modal, images, atol=0.005 * float(np.max(np.abs(images))))


@pytest.mark.parametrize("decay_s", [0.2, 0.8])
def test_resonance_has_its_half_power_width(decay_s: float) -> None:
    """Closed form: 3 dB below the top at half the width to either side."""
    modes = room_modes(RIGID, 100.0, speed_of_sound_m_s=SPEED_M_S)
    width_hz = half_power_width_hz(decay_s)
    mode_hz = modes.frequency_hz(speed_of_sound_m_s=SPEED_M_S)[1:]
    top_hz = float(mode_hz[5])
    three = np.array([top_hz - width_hz / 2, top_hz, top_hz + width_hz / 2])
    power = np.abs(resonances(mode_hz, three, width_hz=width_hz)[:, 6]) ** 2
    np.testing.assert_allclose(power / power[1], [0.5, 1.0, 0.5], rtol=2 * width_hz / top_hz)
