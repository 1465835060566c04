"""The rectangular room: published examples and plane geometry."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.room.room import (
    SURFACES,
    Loudspeaker,
    Point,
    Positions,
    Room,
    mean_absorption,
    require_inside,
    reverberation_time_s,
    schroeder_frequency_hz,
)


def _pair(left: tuple[float, float, float], right: tuple[float, float, float]) -> Positions:
    return Positions(
        left=Loudspeaker(tweeter=Point(x_m=left[0], y_m=left[1], z_m=left[2])),
        right=Loudspeaker(tweeter=Point(x_m=right[0], y_m=right[1], z_m=right[2])),
        seat=Point(x_m=2.0, y_m=3.0, z_m=1.1),
    )


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
    room = Room(length_m=size_m[0], width_m=size_m[1], height_m=size_m[2])
    found_hz = schroeder_frequency_hz(room, reverberation_time_s=decay_s)
    assert found_hz == pytest.approx(schroeder_hz, abs=0.1)


def test_volume_surface_and_edges() -> None:
    """Closed form: a box of 5 x 4 x 2.5 m."""
    room = Room(length_m=5.0, width_m=4.0, height_m=2.5)
    assert (room.volume_m3, room.surface_m2, room.edges_m) == (50.0, 85.0, 46.0)
    assert sum(room.area_m2(surface) for surface in SURFACES) == room.surface_m2
    assert room.area_m2("front") == 10.0
    assert room.area_m2("left") == 12.5


def test_sabine_constant() -> None:
    """Published constant: Sabine's T = 0.161 V / A (in SI, near 20 degrees)."""
    room = Room(length_m=5.0, width_m=4.0, height_m=2.5, absorption=dict.fromkeys(SURFACES, 0.1))
    time_s = reverberation_time_s(room, speed_of_sound_m_s=343.2, law="sabine")
    assert time_s == pytest.approx(0.161 * 50 / 8.5, rel=2e-3)


def test_eyring_limits() -> None:
    """Closed form: Eyring meets Sabine at low absorption and ends at 0 for a dead room."""
    room = Room(length_m=5.0, width_m=4.0, height_m=2.5, absorption=dict.fromkeys(SURFACES, 1e-4))
    eyring_s = reverberation_time_s(room, speed_of_sound_m_s=343.2)
    sabine_s = reverberation_time_s(room, speed_of_sound_m_s=343.2, law="sabine")
    assert eyring_s == pytest.approx(sabine_s, rel=1e-4)
    dead = Room(length_m=5.0, width_m=4.0, height_m=2.5, absorption=dict.fromkeys(SURFACES, 1.0))
    assert reverberation_time_s(dead, speed_of_sound_m_s=343.2) == 0
    hard = Room(length_m=5.0, width_m=4.0, height_m=2.5, absorption=dict.fromkeys(SURFACES, 0.0))
    assert reverberation_time_s(hard, speed_of_sound_m_s=343.2) == math.inf


@given(st.floats(0.01, 0.95))
def test_mean_absorption_undoes_eyring(absorption: float) -> None:
    """Invariant: from absorption to reverberation time and back."""
    room = Room(
        length_m=5.0, width_m=4.0, height_m=2.5, absorption=dict.fromkeys(SURFACES, absorption)
    )
    time_s = reverberation_time_s(room, speed_of_sound_m_s=343.2)
    found = mean_absorption(
        time_s, volume_m3=room.volume_m3, surface_m2=room.surface_m2, speed_of_sound_m_s=343.2
    )
    assert found == pytest.approx(absorption)


def test_distances_and_half_angle() -> None:
    """Closed form: an equilateral triangle of 2 m, the left loudspeaker 10 mm back."""
    half_base = 1.0
    depth = math.sqrt(3)
    positions = _pair((2 - half_base, 3 - depth, 1.1), (2 + half_base, 3 - depth, 1.1))
    assert positions.left_m == pytest.approx(2.0)
    assert positions.half_angle_deg == pytest.approx(30.0)
    assert positions.left_minus_right_m == pytest.approx(0.0, abs=1e-12)
    back = _pair((2 - half_base, 3 - depth - 0.01, 1.1), (2 + half_base, 3 - depth, 1.1))
    assert back.left_minus_right_m == pytest.approx(0.01 * math.cos(math.radians(30)), abs=2e-5)
    assert not positions.exchanged


def test_exchanged_pair_is_told() -> None:
    """Known input: left and right swapped keeps the geometry valid and flips the sign."""
    swapped = _pair((3.0, 1.0, 1.1), (1.1, 1.0, 1.1))
    assert swapped.exchanged
    assert swapped.left_minus_right_m > 0


def test_woofer_height_is_the_tweeters_unless_given() -> None:
    """Known input."""
    tweeter = Point(x_m=1.0, y_m=1.0, z_m=1.0)
    assert Loudspeaker(tweeter=tweeter).woofer == tweeter
    assert Loudspeaker(tweeter=tweeter).woofer_is_assumed
    with_woofer = Loudspeaker(tweeter=tweeter, woofer_z_m=0.4)
    assert with_woofer.woofer.z_m == 0.4
    assert not with_woofer.woofer_is_assumed


@pytest.mark.parametrize(
    ("keywords", "named"),
    [
        ({"length_m": -5.0}, "length_m -5"),
        ({"width_m": 400.0}, "width_m 400"),
        ({"height_m": math.nan}, "height_m nan"),
        ({"absorption": {"front": 1.2}}, "absorption of front 1.2"),
        ({"absorption": {"window": 0.5}}, "absorption of 'window'"),
    ],
)
def test_refuses_impossible_rooms(keywords: dict[str, object], named: str) -> None:
    """Known input: sizes and absorptions that no room has."""
    size: dict[str, object] = {"length_m": 5.0, "width_m": 4.0, "height_m": 2.5}
    with pytest.raises(ValueError, match=named):
        Room(**{**size, **keywords})  # type: ignore[arg-type]


@given(st.floats(0.01, 10), st.sampled_from("xyz"))
def test_refuses_points_outside(beyond_m: float, axis: str) -> None:
    """Invariant: whatever stands behind a wall is named with its axis."""
    room = Room(length_m=5.0, width_m=4.0, height_m=2.5)
    inside = _pair((1.0, 1.0, 1.0), (3.0, 1.0, 1.0))
    require_inside(room, inside)
    place = {"x": 3.0, "y": 1.0, "z": 1.0}
    place[axis] = {"x": 4.0, "y": 5.0, "z": 2.5}[axis] + beyond_m
    outside = _pair((1.0, 1.0, 1.0), (place["x"], place["y"], place["z"]))
    with pytest.raises(ValueError, match=f"right: {axis}_m"):
        require_inside(room, outside)


def test_refuses_a_loudspeaker_at_the_seat_and_a_missing_number() -> None:
    """Known input."""
    room = Room(length_m=5.0, width_m=4.0, height_m=2.5)
    with pytest.raises(ValueError, match="left: must stand at least"):
        require_inside(room, _pair((2.0, 3.0, 1.1), (3.0, 1.0, 1.0)))
    with pytest.raises(ValueError, match="y_m inf"):
        Point(x_m=1.0, y_m=math.inf, z_m=1.0)
