"""Sections: which rooms have one, and whose surface is where."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.room.floor_plan import FloorPlan, rectangle
from analysis.room.modes import room_modes
from analysis.room.room import Direction, Room
from analysis.room.section import section_of
from analysis.room.sloped_modes import sloped_modes

C = 343.0


def attic(slopes_along: Direction) -> Room:
    plan = rectangle(width_m=3.0, length_m=3.6)
    return Room(plan=plan, height_m=2.1, far_height_m=2.9, slopes_along=slopes_along)


def test_a_level_room_is_its_floor_plan_all_the_way_up() -> None:
    # Closed form.
    plan = FloorPlan(corners_m=((0, 0), (4.2, 0), (3.6, 5), (0, 5)))
    section = section_of(Room(plan=plan, height_m=2.5))
    assert section is not None
    assert (section.outline, section.length_m, section.along) == (plan, 2.5, 2)


def test_a_slope_over_any_other_plan_has_none() -> None:
    plan = FloorPlan(corners_m=((0, 0), (4.2, 0), (3.6, 5), (0, 5)))
    assert section_of(Room(plan=plan, height_m=2.5, far_height_m=2.8)) is None


@pytest.mark.parametrize("slopes_along", ["x", "y"])
def test_every_surface_has_its_own_area(slopes_along: Direction) -> None:
    # Closed form: the uniform pressure meets each by its area over the volume.
    room = attic(slopes_along)
    weights = room_modes(room, 60, speed_of_sound_m_s=C).surface_weight_per_m[:, 0]
    np.testing.assert_allclose(weights * room.volume_m3, room.areas_m2(), rtol=1e-6)


@pytest.mark.parametrize("slopes_along", ["x", "y"])
def test_modes_are_those_of_three_dimensional_elements(slopes_along: Direction) -> None:
    # Second method: prisms over the whole room, which know of no section.
    room = attic(slopes_along)
    highest_rad_m = 2 * np.pi * 110 / C
    modes = room_modes(room, 110, speed_of_sound_m_s=C)
    wavenumber, weights, shapes_at, _ = sloped_modes(room, highest_rad_m, error_percent=0.3)
    np.testing.assert_allclose(modes.wavenumber_rad_m[1:], wavenumber[1:], rtol=3e-3)
    alone = np.diff(wavenumber) > 0.01 * wavenumber[1:]
    alone = np.concatenate(([True], alone)) & np.concatenate((alone, [False]))
    assert alone.sum() > 5
    # Slow to converge on the surfaces, so a few percent of the largest.
    off = modes.surface_weight_per_m - weights
    assert np.abs(off[:, alone]).max() < 0.03 * weights.max()
    points = np.array([[0.4, 0.7, 0.3], [1.1, 2.9, 1.7], [2.6, 1.9, 0.9], [2.9, 3.5, 2.0]])
    one, other = modes.shapes_at(points)[:, alone], shapes_at(points)[:, alone]
    turned = np.sign(np.sum(one * other, axis=0))
    np.testing.assert_allclose(one, other * turned, atol=0.03)
