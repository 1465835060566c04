"""Modes of floor plans against published eigenvalues and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.room.floor_plan import FloorPlan, rectangle
from analysis.room.plan_modes import expected_count, plan_modes


def l_shape(arm_m: float) -> FloorPlan:
    s = arm_m
    return FloorPlan(corners_m=((0, 0), (2 * s, 0), (2 * s, s), (s, s), (s, 2 * s), (0, 2 * s)))


def test_the_l_shapes_published_eigenvalues() -> None:
    # Published table: M. Dauge's benchmark, Neumann eigenvalues of the L (second-hand).
    known = [1.47562182408, 3.53403136678, math.pi**2, math.pi**2, 11.3894793979]
    modes = plan_modes(l_shape(1.0), 3.45, error_percent=0.005)
    found = modes.wavenumber_rad_m[1:6] ** 2
    np.testing.assert_allclose(found, known, rtol=2e-5)
    assert found[3] - found[2] < 1e-4  # a double eigenvalue stays double
    assert 0 < modes.error_percent < 0.1


def test_the_equilateral_triangle() -> None:
    # Closed form: Lame; McCartin 2002 (from memory).
    side = 3.0
    plan = FloorPlan(corners_m=((0, 0), (side, 0), (side / 2, side * math.sqrt(0.75))))
    found = plan_modes(plan, 5.0).wavenumber_rad_m[1:] ** 2 * 9 * side**2 / (16 * math.pi**2)
    np.testing.assert_allclose(found[:9], [1, 1, 3, 4, 4, 7, 7, 9, 9], rtol=2e-4)


def test_elements_and_closed_form_of_a_rectangle() -> None:
    # Second method: a rectangle off the origin is solved by elements.
    off = FloorPlan(corners_m=((1, 1), (4.9, 1), (4.9, 6.2), (1, 6.2)))
    closed = plan_modes(rectangle(width_m=3.9, length_m=5.2), 3.7)
    solved = plan_modes(off, 3.7)
    assert solved.indices is None
    np.testing.assert_allclose(solved.wavenumber_rad_m, closed.wavenumber_rad_m, rtol=3e-4)
    single = [0, 1, 2, 3]  # not double: signs apart, the shapes agree
    at = np.array([[0.4, 0.7], [2.0, 3.0], [0.0, 5.2]])
    one, other = closed.shapes_at(at)[:, single], solved.shapes_at(at + 1)[:, single]
    np.testing.assert_allclose(np.abs(one), np.abs(other), atol=3e-3)
    np.testing.assert_allclose(
        solved.wall_weight_per_m[:, single], closed.wall_weight_per_m[:, single], rtol=3e-3
    )


def test_the_count_follows_weyl_and_the_error_what_was_asked() -> None:
    # Closed form: Weyl's law of the smoothed count; a slanted wall.
    plan = FloorPlan(corners_m=((0, 0), (4.5, 0), (3.8, 5.2), (0, 5.2)))
    modes = plan_modes(plan, 5.0, error_percent=0.02)
    assert modes.error_percent <= 0.02
    assert modes.wavenumber_rad_m.size == pytest.approx(expected_count(plan, 5.0), abs=3)


@pytest.mark.parametrize("limits", [(0.0, 0.1), (3.0, 0.0)])
def test_limits_are_checked(limits: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="must lie above 0"):
        plan_modes(rectangle(width_m=4, length_m=5), limits[0], error_percent=limits[1])
