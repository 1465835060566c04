r"""Modes of a floor plan with rigid walls: the two-dimensional part of a room's modes.

Conventions: a mode's *wavenumber* :math:`\kappa` is in radians per metre; shapes have a mean
square of 1 over the plan; the uniform pressure (:math:`\kappa = 0`) is the first one. The last
axis runs over modes. *Wall weight* is the integral of the squared shape along a wall over
the area of the plan, in 1/m: what a wall's admittance is weighted with in the damping.

A rectangle has its closed form. Any other plan is solved by finite elements: triangles with
cubic polynomials, the generalised eigenproblem by shift and invert, on two meshes: what the
modes' wavenumbers differ by is the stated error, which bounds that of the finer mesh.

References
----------
P. M. Morse, K. U. Ingard, "Theoretical Acoustics", 1968, ch. 9 (from memory).
T. Gustafsson, G. D. McBain, "scikit-fem: A Python package for finite element assembly",
JOSS 5(52), 2369, 2020.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from analysis.basics.arrays import Float, freeze
from analysis.room.floor_plan import FloorPlan

ERROR_PERCENT: Final = 0.1
"""Default limit of the error of a mode's frequency."""

PER_WAVELENGTH: Final = 2.4
"""Sides of cubic triangles per shortest wavelength on the first mesh."""

REFINEMENT: Final = 0.7
"""Spacing of each further mesh as a share of the one before."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PlanProducts:
    """Integrals of products of shapes, over the area: what a perturbed plan needs.

    Both last axes run over modes.

    Attributes
    ----------
    along_x_per_m2, along_y_per_m2 : ndarray, shape (n, n)
        Of the slopes along x and along y. Their sum is diagonal: the squared wavenumbers.
    at_walls_per_m : ndarray, shape (n_walls, n, n)
        Of the shapes along each wall. The diagonals are the wall weights.
    """

    along_x_per_m2: Float
    along_y_per_m2: Float
    at_walls_per_m: Float

    def __post_init__(self) -> None:
        for name, ndim in (("along_x_per_m2", 2), ("along_y_per_m2", 2), ("at_walls_per_m", 3)):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name, ndim=ndim))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PlanModes:
    """Modes of a floor plan by rising wavenumber.

    Attributes
    ----------
    plan : FloorPlan
    wavenumber_rad_m : ndarray, shape (n,)
        The first is 0.
    wall_weight_per_m : ndarray, shape (n_walls, n)
    indices : ndarray of int or None, shape (n, 2)
        Half waves along length and width of a rectangle.
    error_percent : float
        Greatest difference of a wavenumber between two meshes; 0 for the closed form.
    products : PlanProducts or None
        What `analysis.placement.response.size_perturbation` needs; None for the closed form.
    shapes_at : callable
        Takes points, shape (m, 2), returns shapes, shape (m, n).
    factor_at : callable or None
        Of a rectangle: takes places along an axis, shape (m,), and the axis (0 is x, 1 is y);
        returns the shapes' factors by the number of half waves, shape (m, n_half_waves).
    """

    plan: FloorPlan
    wavenumber_rad_m: Float
    wall_weight_per_m: Float
    indices: Any
    error_percent: float
    products: PlanProducts | None
    shapes_at: Callable[[Float], Float]
    factor_at: Callable[[Float, int], Float] | None = None

    def __post_init__(self) -> None:
        for name, ndim in (("wavenumber_rad_m", 1), ("wall_weight_per_m", 2)):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name, ndim=ndim))


def plan_modes(
    plan: FloorPlan, highest_rad_m: float, *, error_percent: float = ERROR_PERCENT
) -> PlanModes:
    """Return the modes of a floor plan up to a wavenumber.

    Parameters
    ----------
    plan : FloorPlan
    highest_rad_m : float
        Above 0.
    error_percent : float
        What the modes' frequencies may be off by, above 0.

    Returns
    -------
    PlanModes

    Raises
    ------
    ValueError
        If a limit isn't above 0, or no mesh of a reasonable size reaches the error.
    """
    for name, value in (("highest_rad_m", highest_rad_m), ("error_percent", error_percent)):
        if not 0 < value < math.inf:
            msg = f"{name} {value} must lie above 0"
            raise ValueError(msg)
    if plan.is_rectangle:
        return _closed_form(plan, highest_rad_m)
    return _by_elements(plan, highest_rad_m, error_percent)


def expected_count(plan: FloorPlan, highest_rad_m: float) -> float:
    """Return Weyl's smoothed number of modes of a plan, the uniform one included."""
    k = highest_rad_m
    return plan.area_m2 * k**2 / (4 * math.pi) + plan.perimeter_m * k / (4 * math.pi) + 1


def _closed_form(plan: FloorPlan, highest_rad_m: float) -> PlanModes:
    """Return a rectangle's modes."""
    _, _, width_m, length_m = plan.bounds_m
    n_length, n_width = (math.floor(highest_rad_m * side / np.pi) for side in (length_m, width_m))
    indices = np.stack(
        np.meshgrid(np.arange(n_length + 1), np.arange(n_width + 1), indexing="ij"), axis=-1
    ).reshape(-1, 2)
    sides = np.array([length_m, width_m])
    wavenumber = np.pi * np.sqrt(np.sum((indices / sides) ** 2, axis=1))
    kept = wavenumber <= highest_rad_m
    order = np.argsort(wavenumber[kept], kind="stable")
    wavenumber, indices = wavenumber[kept][order], indices[kept][order]
    factors = np.where(indices > 0, 2.0, 1.0)
    along_y = factors[:, 0] / length_m  # at the front and the rear wall
    along_x = factors[:, 1] / width_m
    weights = {"front": along_y, "rear": along_y, "left": along_x, "right": along_x}

    def factor_at(places_m: Float, axis: int) -> Float:
        return _cosines(places_m / sides[1 - axis], int(indices[:, 1 - axis].max()) + 1)

    def shapes_at(points_m: Float) -> Float:
        x, y = np.atleast_2d(points_m).T
        along, across = factor_at(y, 1), factor_at(x, 0)
        return np.asarray(along[:, indices[:, 0]] * across[:, indices[:, 1]])

    return PlanModes(
        plan=plan,
        wavenumber_rad_m=wavenumber,
        wall_weight_per_m=np.stack([weights[name] for name in plan.wall_names]),
        indices=indices,
        error_percent=0.0,
        products=None,
        shapes_at=shapes_at,
        factor_at=factor_at,
    )


def _cosines(share: Float, n: int) -> Float:
    """Return cosines of 0 to n - 1 half waves with a mean square of 1, shape (m, n)."""
    values = math.sqrt(2) * np.cos(np.pi * np.outer(share, np.arange(n)))
    values[:, 0] = 1.0
    return np.asarray(values)


def _by_elements(plan: FloorPlan, highest_rad_m: float, error_percent: float) -> PlanModes:
    """Return the modes of the first mesh that agrees with the one before it."""
    spacing_m = 2 * math.pi / highest_rad_m / PER_WAVELENGTH
    coarse = _Elements(plan, spacing_m).solve(highest_rad_m)[0]
    while True:
        spacing_m *= REFINEMENT
        elements = _Elements(plan, spacing_m)
        wavenumber, vectors = elements.solve(highest_rad_m)
        n_common = min(coarse.size, wavenumber.size)
        off = np.abs(coarse[1:n_common] / wavenumber[1:n_common] - 1)
        found_percent = 100 * float(off.max(initial=0.0))
        # Modes at the very limit may be counted on one mesh only: those below agree.
        if found_percent <= error_percent and abs(coarse.size - wavenumber.size) <= 2:
            return elements.modes(wavenumber, vectors, found_percent)
        coarse = wavenumber


class _Elements:
    """The eigenproblem of a plan on one mesh."""

    def __init__(self, plan: FloorPlan, spacing_m: float) -> None:
        # Late: a rectangle has no use for a mesh.
        from analysis.room.mesh import PlanElements

        self.plan = plan
        self.mesh = PlanElements(plan, spacing_m)
        self.along_x = self.mesh.integrals(lambda u, v, _: u.grad[0] * v.grad[0])
        self.along_y = self.mesh.integrals(lambda u, v, _: u.grad[1] * v.grad[1])
        self.stiffness = self.along_x + self.along_y
        self.mass = self.mesh.integrals(lambda u, v, _: u * v)

    def solve(self, highest_rad_m: float) -> tuple[Float, Float]:
        """Return wavenumbers up to a limit, and shapes at the nodes, shape (n_nodes, n)."""
        from scipy.sparse.linalg import eigsh

        n_asked = math.ceil(1.08 * expected_count(self.plan, highest_rad_m) + 6)
        shift = -0.02 * highest_rad_m**2  # below the uniform pressure, whose eigenvalue is 0
        start = np.random.default_rng(1).standard_normal(self.mesh.basis.N)
        while True:
            n_asked = min(n_asked, self.mesh.basis.N - 2)
            squares, vectors = eigsh(
                self.stiffness, n_asked, self.mass, sigma=shift, v0=start, tol=1e-9
            )
            if squares.max() > highest_rad_m**2 or n_asked == self.mesh.basis.N - 2:
                break
            n_asked = math.ceil(1.4 * n_asked)
        order = np.argsort(squares)
        kept = order[squares[order] <= highest_rad_m**2]
        wavenumber = np.sqrt(np.clip(squares[kept], 0, None))
        wavenumber[0] = 0.0
        # The eigensolver makes the mass 1; a mean square of 1 has the area.
        return wavenumber, vectors[:, kept] * math.sqrt(self.plan.area_m2)

    def modes(self, wavenumber: Float, vectors: Float, found_percent: float) -> PlanModes:
        """Return what was found as a record."""
        vectors = vectors * np.where(vectors[0] < 0, -1.0, 1.0)

        def shapes_at(points_m: Float) -> Float:
            return np.asarray(self.mesh.values_at(points_m) @ vectors)

        products = self._products(vectors)
        return PlanModes(
            plan=self.plan,
            wavenumber_rad_m=wavenumber,
            wall_weight_per_m=np.einsum("wnn->wn", products.at_walls_per_m),
            indices=None,
            error_percent=found_percent,
            products=products,
            shapes_at=shapes_at,
        )

    def _products(self, vectors: Float) -> PlanProducts:
        """Return the integrals of products of shapes and of slopes, over the area."""
        walls = [
            self.mesh.along_wall(wall, lambda u, v, _: u * v) for wall in range(self.plan.n_walls)
        ]
        return PlanProducts(
            along_x_per_m2=vectors.T @ (self.along_x @ vectors) / self.plan.area_m2,
            along_y_per_m2=vectors.T @ (self.along_y @ vectors) / self.plan.area_m2,
            at_walls_per_m=np.stack([vectors.T @ (one @ vectors) for one in walls])
            / self.plan.area_m2,
        )
