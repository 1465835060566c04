"""A stretched plan against the same plan solved anew, and against the closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.placement.response.size_perturbation import perturb_size, wall_growth
from analysis.room.floor_plan import FloorPlan, rectangle
from analysis.room.plan_modes import PlanModes, plan_modes

HIGHEST_RAD_M = 2 * math.pi * 390 / 343
"""What a model up to 300 Hz sums."""

CORNERS = {
    "L": ((0, 0), (4, 0), (4, 3), (6, 3), (6, 5), (0, 5)),
    "slanted": ((0, 0), (4.4, 0), (3.6, 5.5), (0, 5.5)),
    "bay": ((0, 0), (3, 0), (4, 1.2), (4, 6), (1, 6), (0, 5)),
}
"""Invented plans: walls along the axes, one slanted, three slanted."""


@pytest.fixture(scope="module", params=CORNERS)
def flat(request: pytest.FixtureRequest) -> PlanModes:
    return plan_modes(FloorPlan(corners_m=CORNERS[request.param]), HIGHEST_RAD_M)


@pytest.mark.parametrize("scale", [(1.02, 0.98), (0.98, 1.02), (1.02, 1.0)])
def test_a_stretched_plan_is_the_one_solved_anew(
    flat: PlanModes, scale: tuple[float, float]
) -> None:
    # Second method: a new mesh of the larger plan. 0.05 % asked, to 300 Hz.
    corners = tuple(map(tuple, flat.plan.array * scale))
    anew = plan_modes(FloorPlan(corners_m=corners), HIGHEST_RAD_M, error_percent=0.03)
    found = perturb_size(flat, *scale)
    below = anew.wavenumber_rad_m < 2 * math.pi * 300 / 343
    n = int(below.sum())
    known = anew.wavenumber_rad_m[1:n]
    np.testing.assert_allclose(found.wavenumber_rad_m[1:n], known, rtol=5e-4)
    # Weights change places between modes that nearly coincide: a few per cent.
    np.testing.assert_allclose(
        found.wall_weight_per_m[:, :n].sum(axis=1),
        anew.wall_weight_per_m[:, :n].sum(axis=1),
        rtol=0.01,
    )


def test_shapes_stay_orthonormal_and_the_first_uniform(flat: PlanModes) -> None:
    # Invariant: a mean square of 1, no product of two, over a fine grid of points.
    found = perturb_size(flat, 1.015, 0.99)
    low_x, low_y, high_x, high_y = flat.plan.bounds_m
    grid = np.stack(np.meshgrid(np.linspace(low_x, high_x, 90), np.linspace(low_y, high_y, 90)))
    points = grid.reshape(2, -1).T
    shapes = found.shapes_at(points[flat.plan.holds(points, margin_m=0.02)])[:, :12]
    np.testing.assert_allclose(np.abs(shapes[:, 0]), 1, atol=1e-6)
    np.testing.assert_allclose(shapes.T @ shapes / shapes.shape[0], np.eye(12), atol=0.06)


def test_a_common_scale_is_exact(flat: PlanModes) -> None:
    # Closed form.
    found = perturb_size(flat, 1.02, 1.02)
    np.testing.assert_allclose(found.wavenumber_rad_m, flat.wavenumber_rad_m / 1.02)
    np.testing.assert_allclose(found.wall_weight_per_m, flat.wall_weight_per_m / 1.02)
    np.testing.assert_allclose(wall_growth(flat.plan, 1.02, 1.02), 1 / 1.02)


def test_a_rectangle_has_its_closed_form() -> None:
    # Closed form: modes of the larger rectangle, mode by mode.
    flat = plan_modes(rectangle(width_m=4, length_m=5), HIGHEST_RAD_M)
    found = perturb_size(flat, 1.02, 0.98)
    of_length, of_width = flat.indices.T
    known = np.pi * np.hypot(of_length / 4.9, of_width / 4.08)
    np.testing.assert_allclose(found.wavenumber_rad_m, known)
    front = flat.plan.wall_names.index("front")
    np.testing.assert_allclose(found.wall_weight_per_m[front], np.where(of_length > 0, 2, 1) / 4.9)


def test_a_plan_is_not_stretched_far() -> None:
    flat = plan_modes(rectangle(width_m=4, length_m=5), 2.0)
    with pytest.raises(ValueError, match=r"scale_y 1\.2"):
        perturb_size(flat, 1.0, 1.2)
