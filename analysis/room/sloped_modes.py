r"""Modes of a room whose ceiling slopes, by three-dimensional finite elements.

Conventions: those of `analysis.room.plan_modes`; shapes have a mean square of 1 over the
volume, and *surface weights* are the integral of the squared shape over a surface divided by
that over the volume. Elements are prisms from floor to ceiling: cubic triangles in plan times
Legendre polynomials in :math:`t = z / h(x, y)`, the share of the height. With it

.. math::

    \int \nabla u \cdot \nabla v \, \mathrm{d}V = \int h
      \left(\nabla u - t \frac{\nabla h}{h} u_t\right) \cdot
      \left(\nabla v - t \frac{\nabla h}{h} v_t\right) + \frac{u_t v_t}{h}
      \; \mathrm{d}x \, \mathrm{d}y \, \mathrm{d}t,

a sum of products of integrals in plan and in :math:`t`, exact for a plane ceiling. The
error is stated by two meshes, both directions refined.

References
----------
B. Szabo, I. Babuska, "Finite Element Analysis", 1991: elements of high order (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.polynomial import legendre

from analysis.basics.arrays import Float
from analysis.room.room import Room

PER_WAVELENGTH: Final = 2.2
"""Sides of cubic triangles per shortest wavelength on the first mesh."""

REFINEMENT: Final = 0.75

MOST_UNKNOWNS: Final = 40_000


def sloped_modes(room: Room, highest_rad_m: float, *, error_percent: float) -> tuple[Any, ...]:
    """Return the modes of a room with a sloped ceiling up to a wavenumber.

    Parameters
    ----------
    room : Room
    highest_rad_m : float
    error_percent : float
        What the modes' frequencies may be off by.

    Returns
    -------
    wavenumber_rad_m : ndarray, shape (n,)
    surface_weight_per_m : ndarray, shape (n_surfaces, n)
    shapes_at : callable
        Takes points, shape (m, 3), returns shapes, shape (m, n).
    error_percent : float
        Greatest difference between the last two meshes.

    Raises
    ------
    ValueError
        If no mesh of a reasonable size reaches the error.
    """
    spacing_m = 2 * math.pi / highest_rad_m / PER_WAVELENGTH
    order = _first_order(room, highest_rad_m)
    coarse = _Prisms(room, spacing_m, order).solve(highest_rad_m)[0]
    while True:
        spacing_m, order = spacing_m * REFINEMENT, order + 2  # an odd one more may add nothing
        prisms = _Prisms(room, spacing_m, order)
        wavenumber, vectors = prisms.solve(highest_rad_m)
        n_common = min(coarse.size, wavenumber.size)
        off = np.abs(coarse[1:n_common] / wavenumber[1:n_common] - 1)
        found_percent = 100 * float(off.max(initial=0.0))
        if found_percent <= error_percent and abs(coarse.size - wavenumber.size) <= 2:
            return wavenumber, prisms.weights(vectors), prisms.shapes(vectors), found_percent
        coarse = wavenumber


def _first_order(room: Room, highest_rad_m: float) -> int:
    """Return the highest power of the height on the first mesh."""
    tallest_m = max(room.height_m, room.far_height_m or 0.0)
    return math.ceil(highest_rad_m * tallest_m / 2)


class _Prisms:
    """The eigenproblem on one mesh."""

    def __init__(self, room: Room, spacing_m: float, order: int) -> None:
        from scipy.sparse import csr_array, kron

        from analysis.room.mesh import PlanElements

        self.room = room
        self.plan = PlanElements(room.plan, spacing_m)
        self.order = order
        if self.plan.n_unknowns * (order + 1) > MOST_UNKNOWNS:
            n_all = self.plan.n_unknowns * (order + 1)
            msg = f"the sloped ceiling needs {n_all} unknowns, over {MOST_UNKNOWNS}: ask less high"
            raise ValueError(msg)
        self.upright = _Upright(order)
        axis = 0 if room.slopes_along == "x" else 1
        slope, height = room.slope, self._height
        plan, t = self.plan.integrals, self.upright
        bend = plan(lambda u, v, w: height(w) * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1]))
        cross = plan(lambda u, v, _: slope * u * v.grad[axis])
        tilt = plan(lambda u, v, w: (slope**2) * u * v / height(w))
        rise = plan(lambda u, v, w: u * v / height(w))
        mixed = kron(cross, csr_array(t.slope_first))
        self.stiffness = csr_array(
            kron(bend, csr_array(t.mass))
            - mixed
            - mixed.T
            + kron(tilt, csr_array(t.tilt))
            + kron(rise, csr_array(t.stiffness))
        )
        self.mass = csr_array(kron(plan(lambda u, v, w: height(w) * u * v), csr_array(t.mass)))

    def _height(self, w: Any) -> Any:
        """Return the ceiling's height at the points of integration."""
        room = self.room
        axis = 0 if room.slopes_along == "x" else 1
        return room.height_m + room.slope * (w.x[axis] - room.plan.bounds_m[axis])

    def solve(self, highest_rad_m: float) -> tuple[Float, Float]:
        """Return wavenumbers and shapes at the unknowns, shape (n_unknowns, n)."""
        from scipy.sparse.linalg import LinearOperator, eigsh, splu

        n_asked = math.ceil(1.1 * _expected(self.room, highest_rad_m) + 8)
        n_all = self.mass.shape[0]
        start = np.random.default_rng(1).standard_normal(n_all)
        shift = -0.02 * highest_rad_m**2
        # An ordering for symmetric matrices leaves half as much fill-in as the default one.
        shifted = (self.stiffness - shift * self.mass).tocsc()
        factors = splu(shifted, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        solve = LinearOperator(shifted.shape, matvec=factors.solve, dtype=np.float64)
        while True:
            squares, vectors = eigsh(
                self.stiffness, n_asked, self.mass, sigma=shift, OPinv=solve, v0=start, tol=1e-9
            )
            if squares.max() > highest_rad_m**2:
                break
            n_asked = math.ceil(1.4 * n_asked)
        order = np.argsort(squares)
        kept = order[squares[order] <= highest_rad_m**2]
        wavenumber = np.sqrt(np.clip(squares[kept], 0, None))
        wavenumber[0] = 0.0
        return wavenumber, vectors[:, kept] * math.sqrt(self.room.volume_m3)

    def weights(self, vectors: Float) -> Float:
        """Return the surface weights, shape (n_surfaces, n)."""
        from scipy.sparse import kron

        flat = self.plan.integrals(lambda u, v, _: u * v)
        low, high = self.upright.at(np.array([0.0, 1.0]))
        matrices = [
            kron(
                self.plan.along_wall(k, lambda u, v, w: self._height(w) * u * v),
                self.upright.mass,
            )
            for k in range(self.room.plan.n_walls)
        ]
        matrices.append(kron(flat, np.outer(low, low)))
        matrices.append(math.hypot(1.0, self.room.slope) * kron(flat, np.outer(high, high)))
        rows = [np.sum(vectors * (matrix @ vectors), axis=0) for matrix in matrices]
        return np.stack(rows) / self.room.volume_m3

    def shapes(self, vectors: Float) -> Callable[[Float], Float]:
        """Return what gives the shapes at points."""
        n_plan, n_t = self.plan.n_unknowns, self.order + 1
        stacked = (vectors * np.where(vectors[0] < 0, -1.0, 1.0)).reshape(n_plan, n_t, -1)

        def shapes_at(points_m: Float) -> Float:
            at = np.atleast_2d(points_m)
            share = at[:, 2] / self.room.height_at(at[:, :2])
            upright = self.upright.at(share)
            plan = self.plan.values_at(at[:, :2])
            columns = (plan @ stacked.reshape(n_plan, -1)).reshape(at.shape[0], n_t, -1)
            return np.asarray(np.einsum("mt,mtn->mn", upright, columns))

        return shapes_at


class _Upright:
    """Legendre polynomials over the share of the height, and their integrals."""

    def __init__(self, order: int) -> None:
        nodes, weights = legendre.leggauss(order + 2)
        share, weights = 0.5 * (nodes + 1), 0.5 * weights
        self._order = order
        value, slope = self.at(share), self._slope_at(share)
        weighted = weights[:, np.newaxis]
        self.mass = value.T @ (weighted * value)
        self.stiffness = slope.T @ (weighted * slope)
        self.slope_first = (slope * share[:, np.newaxis] * weighted).T @ value
        self.slope_first = self.slope_first.T  # row: the test function, column: the slope
        self.tilt = slope.T @ (weighted * share[:, np.newaxis] ** 2 * slope)
        for matrix in (self.mass, self.stiffness, self.slope_first, self.tilt):
            # Rounding where orthogonality means 0 would fill the sparse matrices.
            matrix[np.abs(matrix) < 1e-12 * np.abs(matrix).max()] = 0.0

    @property
    def _norm(self) -> Float:
        return np.asarray(np.sqrt(2.0 * np.arange(self._order + 1) + 1))

    def at(self, share: Float) -> Float:
        """Return the polynomials' values, shape (m, order + 1)."""
        return np.asarray(legendre.legvander(2 * share - 1, self._order) * self._norm)

    def _slope_at(self, share: Float) -> Float:
        """Return their slopes."""
        bare = legendre.legder(np.eye(self._order + 1), axis=0)
        rise = legendre.legvander(2 * share - 1, max(self._order - 1, 0)) @ bare
        return np.asarray(2 * rise * self._norm)


def _expected(room: Room, highest_rad_m: float) -> float:
    """Return the smoothed number of modes (Kuttruff; the edges' term left out)."""
    per_metre = highest_rad_m / (2 * math.pi)
    surface_m2 = float(room.areas_m2().sum())
    return (
        4 * math.pi / 3 * room.volume_m3 * per_metre**3 + math.pi / 4 * surface_m2 * per_metre**2
    ) + 1
