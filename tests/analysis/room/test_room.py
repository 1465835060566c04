"""The room, the pair and the seat: plane geometry, and what is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.room.floor_plan import rectangle
from analysis.room.room import (
    SURFACES,
    Loudspeaker,
    Point,
    Positions,
    Room,
    rectangular_room,
    require_inside,
)


def _pair(left: tuple[float, float, float], right: tuple[float, float, float]) -> Positions:
    return Positions(
        left=Loudspeaker(tweeter=Point(x_m=left[0], y_m=left[1], z_m=left[2])),
        right=Loudspeaker(tweeter=Point(x_m=right[0], y_m=right[1], z_m=right[2])),
        seat=Point(x_m=2.0, y_m=3.0, z_m=1.1),
    )


def test_volume_surface_and_sizes() -> None:
    """Closed form: a box of 5 x 4 x 2.5 m."""
    room = rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5)
    assert (room.volume_m3, room.surface_m2) == (50.0, 85.0)
    assert (room.length_m, room.width_m, room.is_box) == (5.0, 4.0, True)
    areas = dict(zip(room.surfaces, room.areas_m2().tolist(), strict=True))
    assert set(areas) == set(SURFACES)
    assert (areas["front"], areas["left"], areas["floor"]) == (10.0, 12.5, 20.0)


def test_mean_absorption_weighs_by_area() -> None:
    """Closed form: floor and ceiling of 20 m2 each among 85 m2."""
    absorption = dict.fromkeys(SURFACES, 0.0) | {"floor": 0.5, "ceiling": 0.1}
    room = rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5, absorption=absorption)
    assert room.mean_absorption == pytest.approx(20 * 0.6 / 85)


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
        rectangular_room(**{**size, **keywords})  # type: ignore[arg-type]


@given(st.floats(0.01, 10), st.sampled_from("xyz"))
def test_refuses_points_outside(beyond_m: float, axis: str) -> None:
    """Invariant: whatever stands behind a wall is named with its axis."""
    room = rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5)
    inside = _pair((1.0, 1.0, 1.0), (3.0, 1.0, 1.0))
    require_inside(room, inside)
    place = {"x": 3.0, "y": 1.0, "z": 1.0}
    place[axis] = {"x": 4.0, "y": 5.0, "z": 2.5}[axis] + beyond_m
    outside = _pair((1.0, 1.0, 1.0), (place["x"], place["y"], place["z"]))
    with pytest.raises(ValueError, match=f"right: {axis}_m"):
        require_inside(room, outside)


def test_refuses_a_loudspeaker_at_the_seat_and_a_missing_number() -> None:
    """Known input."""
    room = rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5)
    with pytest.raises(ValueError, match="left: must stand at least"):
        require_inside(room, _pair((2.0, 3.0, 1.1), (3.0, 1.0, 1.0)))
    with pytest.raises(ValueError, match="y_m inf"):
        Point(x_m=1.0, y_m=math.inf, z_m=1.0)


def positions(**seat: float) -> Positions:
    left, right = (Loudspeaker(tweeter=Point(x_m=x, y_m=0.8, z_m=1.0)) for x in (0.8, 2.2))
    return Positions(
        left=left, right=right, seat=Point(**{"x_m": 1.5, "y_m": 2.5, "z_m": 1.1, **seat})
    )


@pytest.mark.parametrize(
    ("seat", "said"),
    [({"x_m": 5.0}, "seat.*outside the floor plan"), ({"z_m": 2.6}, "seat: z_m 2.6")],
)
def test_positions_outside_are_named(seat: dict[str, float], said: str) -> None:
    room = Room(plan=rectangle(width_m=3, length_m=3.6), height_m=2.1, far_height_m=2.4)
    require_inside(room, positions())
    with pytest.raises(ValueError, match=said):
        require_inside(room, positions(**seat))


def test_too_steep_a_ceiling_is_refused() -> None:
    with pytest.raises(ValueError, match="rises by"):
        Room(plan=rectangle(width_m=3, length_m=3), height_m=2, far_height_m=9)
