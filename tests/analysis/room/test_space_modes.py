"""Modes of whole rooms: closed forms, a published table, a sloped ceiling two ways."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import qmc

from analysis.room.floor_plan import FloorPlan, rectangle
from analysis.room.modes import modes_below
from analysis.room.plan_modes import plan_modes
from analysis.room.room import Loudspeaker, Point, Positions, Room
from analysis.room.sloped_modes import sloped_modes
from analysis.room.space import Space, require_in_space, space_of
from analysis.room.space_modes import SpaceModes, space_modes

FOOT_M = 0.3048


@pytest.fixture(scope="module")
def sloped() -> SpaceModes:
    plan = rectangle(width_m=3.0, length_m=3.6)
    space = Space(plan=plan, height_m=2.1, far_height_m=2.9)
    return space_modes(space, 130, speed_of_sound_m_s=343.0, error_percent=0.3)


def test_a_published_table_of_a_box() -> None:
    # Published table: 23 x 17 x 10 ft at 1126.2 ft/s, lowest eleven (second-hand).
    plan = rectangle(width_m=17 * FOOT_M, length_m=23 * FOOT_M)
    modes = space_modes(
        Space(plan=plan, height_m=10 * FOOT_M), 81.7, speed_of_sound_m_s=1126.2 * FOOT_M
    )
    found = modes.frequency_hz(speed_of_sound_m_s=1126.2 * FOOT_M)
    known = [24.48, 33.12, 41.19, 48.97, 56.31, 59.11, 61.40, 65.32, 66.24, 69.76, 70.62]
    np.testing.assert_allclose(found[1:12], known, atol=0.02)


def test_boxes_agree_with_the_modes_of_a_rectangular_room() -> None:
    # Second method: the closed form of `analysis.room.modes`.
    room = Room(length_m=5.2, width_m=3.9, height_m=2.5)
    one = modes_below(room, 250, speed_of_sound_m_s=343.0)
    other = space_modes(space_of(room), 250, speed_of_sound_m_s=343.0)
    np.testing.assert_allclose(
        other.frequency_hz(speed_of_sound_m_s=343.0)[1:], one.frequency_hz, rtol=1e-12
    )
    point = Point(x_m=0.7, y_m=1.1, z_m=0.4)
    norm = np.sqrt(2.0**one.n_directions)
    found = other.shapes_at(point.array)[0, 1:]
    # Ties may stand in another order.
    np.testing.assert_allclose(np.sort(found), np.sort(one.shape_at(point) * norm), atol=1e-9)


def test_an_l_under_a_level_ceiling_is_its_plan_and_the_height() -> None:
    # Published table: Dauge's first eigenvalue, and (n c / 2 h)^2 under the root.
    s, h, c = 2.5, 2.4, 343.2
    plan = FloorPlan(corners_m=((0, 0), (2 * s, 0), (2 * s, s), (s, s), (s, 2 * s), (0, 2 * s)))
    modes = space_modes(Space(plan=plan, height_m=h), 110, speed_of_sound_m_s=c)
    found = dict(
        zip(modes.kinds[::-1], modes.frequency_hz(speed_of_sound_m_s=c)[::-1], strict=True)
    )
    assert found["plan"] == pytest.approx(26.541, rel=1e-4)
    assert found["vertical"] == pytest.approx(c / 2 / h)
    assert found["mixed"] == pytest.approx(math.hypot(26.541, c / 2 / h), rel=1e-4)


def test_prisms_find_a_trapezoid_times_the_width() -> None:
    # Second method: the same room is separable: a trapezoidal section times cosines in x.
    highest = 2 * math.pi * 130 / 343.0
    space = Space(plan=rectangle(width_m=3.0, length_m=3.6), height_m=2.1, far_height_m=2.9)
    found = sloped_modes(space, highest, error_percent=0.3)[0]
    side = FloorPlan(corners_m=((0, 0), (3.6, 0), (3.6, 2.9), (0, 2.1)))
    upright = plan_modes(side, highest, error_percent=0.02).wavenumber_rad_m
    all_of = np.hypot(upright[:, np.newaxis], np.pi * np.arange(6) / 3.0).ravel()
    known = np.sort(all_of[all_of <= highest])
    np.testing.assert_allclose(found[1:], known[1:], rtol=3e-3)


def test_shapes_have_a_mean_square_of_one_and_are_orthogonal(sloped: SpaceModes) -> None:
    # Invariant, by quasi-random points over the volume.
    points = qmc.Sobol(3, seed=1).random(2**12) * [3.0, 3.6, 2.9]
    shapes = sloped.shapes_at(points[sloped.space.holds(points)])
    product = shapes.T @ shapes / shapes.shape[0]
    np.testing.assert_allclose(product, np.eye(product.shape[0]), atol=0.03)


def test_the_uniform_pressure_meets_each_surface_by_its_area(sloped: SpaceModes) -> None:
    # Closed form: areas over volume, the sloped ceiling's among them.
    weights = sloped.surface_weight_per_m[:, 0] * sloped.space.volume_m3
    np.testing.assert_allclose(weights, sloped.space.areas_m2(), rtol=1e-6)
    assert sloped.space.volume_m3 == pytest.approx(3.0 * 3.6 * 2.5)


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
    space = Space(plan=rectangle(width_m=3, length_m=3.6), height_m=2.1, far_height_m=2.4)
    require_in_space(space, positions())
    with pytest.raises(ValueError, match=said):
        require_in_space(space, positions(**seat))


def test_too_steep_a_ceiling_is_refused() -> None:
    with pytest.raises(ValueError, match="rises by"):
        Space(plan=rectangle(width_m=3, length_m=3), height_m=2, far_height_m=9)
