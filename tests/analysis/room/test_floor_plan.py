"""Floor plans: sizes, walls, and what is said of an impossible one."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.room.floor_plan import FloorPlan, rectangle

L = ((0, 0), (6, 0), (6, 3), (3.5, 3), (3.5, 5), (0, 5))


def test_sizes_of_an_l_shape() -> None:
    # Closed form: 6 x 3 plus 3.5 x 2.
    plan = FloorPlan(corners_m=L)
    assert plan.area_m2 == pytest.approx(25)
    assert plan.perimeter_m == pytest.approx(22)
    assert plan.reentrant == (3,)
    assert plan.wall_names[plan.front_wall] == "front"
    assert not plan.is_rectangle


def test_clockwise_corners_give_the_same_room() -> None:
    # Invariant: the direction of writing changes nothing but the order.
    one, other = FloorPlan(corners_m=L), FloorPlan(corners_m=L[::-1])
    assert set(one.corners_m) == set(other.corners_m)
    assert (one.area_m2, one.was_clockwise) == (other.area_m2, not other.was_clockwise)
    assert one.polygon.equals(other.polygon)


def test_walls_of_a_rectangle_are_named() -> None:
    # Known input.
    plan = rectangle(width_m=4, length_m=5)
    assert plan.wall_names == ("front", "right", "rear", "left")
    assert plan.is_rectangle


def test_a_corner_on_a_straight_wall_and_a_closing_one_are_dropped() -> None:
    # Invariant: they change no wall.
    plan = FloorPlan(corners_m=((0, 0), (2, 0), (4, 0), (4, 5), (0, 5), (0, 0)))
    assert plan.corners_m == rectangle(width_m=4, length_m=5).corners_m


def test_which_points_lie_inside() -> None:
    # Known input: the notch of the L, a wall, a margin.
    plan = FloorPlan(corners_m=L)
    points = np.array([[1, 1], [5, 4], [0, 2], [0.2, 2]])
    assert plan.holds(points).tolist() == [True, False, True, True]
    assert plan.holds(points, margin_m=0.3).tolist() == [True, False, False, False]


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        (((0, 0), (4, 0)), "has 2 corners"),
        (((0, 0), (4, 0), (4, float("nan"))), "corner 3"),
        (((0, 0), (4, 0), (4, 5), (4, 5.01), (0, 5)), "3 and 4 are the same"),
        (((0, 0), (4, 5), (4, 0), (0, 5)), "cross or touch"),
        (((0, 0), (4, 0), (4, 5), (2, 0), (0, 5)), "cross or touch"),
        (((0, 0), (0.5, 0), (0.5, 5), (0, 5)), "0.5 m wide"),
        (((0, 0), (4, 0), (4, 500), (0, 500)), "500 m long"),
        (((0, 0), (8, 0), (8, 1)), "sharpest allowed"),
    ],
)
def test_each_fault_has_its_message(corners: tuple[tuple[float, float], ...], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        FloorPlan(corners_m=corners)
