"""How long rooms ring: published examples, and limits of the laws."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.room.reverberation import (
    eyring_absorption,
    eyring_time_s,
    half_power_width_hz,
    reverberation_time_s,
    schroeder_frequency_hz,
)
from analysis.room.room import SURFACES, rectangular_room

BOX = {"volume_m3": 50.0, "surface_m2": 85.0, "speed_of_sound_m_s": 343.2}
"""A box of 5 x 4 x 2.5 m."""


@pytest.mark.parametrize(
    ("size_m", "decay_s", "schroeder_hz"),
    [
        # Published rooms: the IEC 60268-13 listening room of 6.52 x 4.20 x 2.68 m holds
        # 73 cubic metres, and at 0.4 s has 148 Hz; one of 50 m3 at 0.5 s has 200 Hz.
        ((6.52, 4.20, 2.68), 0.4, 147.6),
        ((5.0, 4.0, 2.5), 0.5, 200.0),
    ],
)
def test_schroeder_frequency(
    size_m: tuple[float, float, float], decay_s: float, schroeder_hz: float
) -> None:
    """Worked examples of 2000 sqrt(T/V)."""
    room = rectangular_room(length_m=size_m[0], width_m=size_m[1], height_m=size_m[2])
    found_hz = schroeder_frequency_hz(room, reverberation_time_s=decay_s)
    assert found_hz == pytest.approx(schroeder_hz, abs=0.1)


def test_sabine_constant() -> None:
    """Published constant: Sabine's T = 0.161 V / A (in SI, near 20 degrees), at low absorption."""
    assert eyring_time_s(1e-4, **BOX) == pytest.approx(0.161 * 50 / 85e-4, rel=2e-3)


def test_eyring_limits() -> None:
    """Closed form: nothing rings in a dead room, and nothing ends where nothing absorbs."""
    assert eyring_time_s(1.0, **BOX) == 0
    assert eyring_time_s(0.0, **BOX) == math.inf


@given(st.floats(0.01, 0.95))
def test_absorption_undoes_eyring(absorption: float) -> None:
    """Invariant: from a room's absorption to its reverberation time and back."""
    kept = dict.fromkeys(SURFACES, absorption)
    room = rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5, absorption=kept)
    time_s = reverberation_time_s(room, speed_of_sound_m_s=343.2)
    assert eyring_absorption(time_s, **BOX) == pytest.approx(absorption)


def test_a_dead_room_still_has_a_time() -> None:
    """Closed form: the mean absorption is taken as 0.99 at most."""
    dead = dict.fromkeys(SURFACES, 1.0)
    room = rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5, absorption=dead)
    time_s = reverberation_time_s(room, speed_of_sound_m_s=343.2)
    assert time_s == pytest.approx(24 * math.log(10) * 50 / (343.2 * 85 * math.log(100)))


@pytest.mark.parametrize(("decay_s", "width_hz"), [(0.4, 5.5), (0.5, 4.4)])
def test_half_power_width(decay_s: float, width_hz: float) -> None:
    """Published rule 2.2 / T (Kuttruff)."""
    assert half_power_width_hz(decay_s) == pytest.approx(width_hz, abs=0.01)


def test_refuses_times_of_nothing() -> None:
    """Known input."""
    with pytest.raises(ValueError, match="decay_s 0"):
        half_power_width_hz(0.0)
    with pytest.raises(ValueError, match="decay_s -1"):
        eyring_absorption(-1.0, **BOX)
