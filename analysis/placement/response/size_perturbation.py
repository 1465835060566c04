r"""Modes of a floor plan that is a little longer or wider than the one that was solved.

Conventions: those of `analysis.room.plan_modes`. Points stay those of the plan that was solved:
a place keeps its share of length and width.

With :math:`x' = s_x x`, :math:`y' = s_y y` the modes of the larger plan make

.. math:: \int \frac{u_x v_x}{s_x^2} + \frac{u_y v_y}{s_y^2} \; \mathrm{d}x \, \mathrm{d}y
          = \kappa'^2 \int u v \; \mathrm{d}x \, \mathrm{d}y

stationary (Rayleigh, Ritz). It is solved among the shapes that are known, so that no mesh is
needed: a dense symmetric eigenproblem of as many rows as there are modes. What this leaves
out is of second order in how much *unlike* the two scales are; a common scale is exact, and so
is a rectangle.

References
----------
B. N. Parlett, "The Symmetric Eigenvalue Problem", 1980, ch. 11: Rayleigh-Ritz (from memory).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.room.floor_plan import FloorPlan
from analysis.room.plan_modes import PlanModes

LARGEST_CHANGE: Final = 0.1
"""Scales further from 1 than this are refused: the shapes that are known don't reach."""


def perturb_size(flat: PlanModes, scale_x: float, scale_y: float) -> PlanModes:
    """Return the modes of a plan with its width and length scaled.

    Parameters
    ----------
    scale_x, scale_y : float
        By how much the plan is wider and longer, within `LARGEST_CHANGE` of 1.

    Returns
    -------
    PlanModes
        As many modes. `plan` and the points that `shapes_at` takes are those of `flat`.

    Raises
    ------
    ValueError
        If a scale is out of range.
    """
    for name, scale in (("scale_x", scale_x), ("scale_y", scale_y)):
        if not abs(scale - 1) <= LARGEST_CHANGE:
            msg = f"{name} {scale} must lie within {LARGEST_CHANGE:g} of 1"
            raise ValueError(msg)
    if scale_x == scale_y:
        return replace(
            flat,
            wavenumber_rad_m=flat.wavenumber_rad_m / scale_x,
            wall_weight_per_m=flat.wall_weight_per_m / scale_x,
        )
    if flat.products is None:
        return _box(flat, scale_x, scale_y)
    return _projected(flat, scale_x, scale_y)


def wall_growth(plan: FloorPlan, scale_x: float, scale_y: float) -> Float:
    """Return by how much each wall's length per area grows, shape (n_walls,)."""
    along = np.roll(plan.array, -1, axis=0) - plan.array
    longer = np.linalg.norm(along * [scale_x, scale_y], axis=1) / np.linalg.norm(along, axis=1)
    return np.asarray(longer / (scale_x * scale_y))


def _box(flat: PlanModes, scale_x: float, scale_y: float) -> PlanModes:
    """Return a rectangle's modes, in the order of those given."""
    _, _, width_m, length_m = flat.plan.bounds_m
    sides = np.array([length_m * scale_y, width_m * scale_x])
    growth = wall_growth(flat.plan, scale_x, scale_y)[:, np.newaxis]
    return replace(
        flat,
        wavenumber_rad_m=np.pi * np.linalg.norm(flat.indices / sides, axis=1),
        wall_weight_per_m=flat.wall_weight_per_m * growth,
    )


def _projected(flat: PlanModes, scale_x: float, scale_y: float) -> PlanModes:
    """Return the modes that the known shapes can make."""
    products = flat.products
    assert products is not None
    stiffness = products.along_x_per_m2 / scale_x**2 + products.along_y_per_m2 / scale_y**2
    squares, turn = np.linalg.eigh(stiffness)
    wavenumber = np.sqrt(np.clip(squares, 0, None))
    wavenumber[0] = 0.0
    weights = np.sum(turn * (products.at_walls_per_m @ turn), axis=1)
    before = flat.shapes_at

    def shapes_at(points_m: Float) -> Float:
        return np.asarray(before(points_m) @ turn)

    return replace(
        flat,
        wavenumber_rad_m=wavenumber,
        wall_weight_per_m=weights * wall_growth(flat.plan, scale_x, scale_y)[:, np.newaxis],
        products=None,
        shapes_at=shapes_at,
    )
