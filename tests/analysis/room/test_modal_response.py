"""The modal sum against image sources."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.room.modal_response import resonances, strengths
from analysis.room.modes import half_power_width_hz, modes_below
from analysis.room.room import Point, Room

ROOM = Room(length_m=5.0, width_m=4.0, height_m=2.5)
SOURCE = Point(x_m=1.1, y_m=0.7, z_m=0.5)
SEAT = Point(x_m=2.2, y_m=3.4, z_m=1.1)
SPEED_M_S = 343.2


def _image_sum(frequency_hz: np.ndarray, decay_s: float) -> np.ndarray:
    """Return the sum over the images of a rigid box in air that takes 60 dB in `decay_s`."""
    per_metre = 3 * np.log(10) / (decay_s * SPEED_M_S)
    reach_m = 13 / per_metre
    axes = []
    for place, seat, size in zip(SOURCE.array, SEAT.array, ROOM.size_m, strict=True):
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
    modes = modes_below(ROOM, 1800.0, speed_of_sound_m_s=SPEED_M_S)
    width_hz = half_power_width_hz(decay_s)
    shifted = np.sqrt(frequency**2 - (width_hz / 2) ** 2)
    each = resonances(modes, shifted, width_hz=width_hz * frequency / shifted)
    modal = each @ strengths(modes, (SOURCE,), SEAT)
    modal *= SPEED_M_S**2 / (np.pi * ROOM.volume_m3)
    images = _image_sum(frequency, decay_s)
    np.testing.assert_allclose(modal, images, atol=0.005 * float(np.max(np.abs(images))))


@pytest.mark.parametrize("decay_s", [0.2, 0.8])
def test_resonance_has_its_half_power_width(decay_s: float) -> None:
    """Closed form: 3 dB below the top at half the width to either side."""
    modes = modes_below(ROOM, 100.0, speed_of_sound_m_s=SPEED_M_S)
    width_hz = half_power_width_hz(decay_s)
    top_hz = float(modes.frequency_hz[5])
    three = np.array([top_hz - width_hz / 2, top_hz, top_hz + width_hz / 2])
    power = np.abs(resonances(modes, three, width_hz=width_hz)[:, 6]) ** 2
    np.testing.assert_allclose(power / power[1], [0.5, 1.0, 0.5], rtol=2 * width_hz / top_hz)
