"""Cubic finite elements on the triangles of a floor plan: integrals, and values at points.

Conventions: a form takes two functions `u` and `v` and the weights `w` as scikit-fem has
them; `w.x` holds x and y in metres. Matrices are sparse, over the unknowns of the mesh.

References
----------
T. Gustafsson, G. D. McBain, "scikit-fem: A Python package for finite element assembly",
JOSS 5(52), 2369, 2020.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.room.floor_plan import FloorPlan
from analysis.room.mesh import triangulate

MOST_UNKNOWNS: Final = 60_000
"""A larger problem isn't solved: the frequency limit is too high for the room."""

Form = Callable[[Any, Any, Any], Any]


class PlanElements:
    """Cubic triangles on one mesh of a floor plan.

    Parameters
    ----------
    plan : FloorPlan
    spacing_m : float
        Length of the triangles' sides, above 0.

    Raises
    ------
    ValueError
        If there would be more than `MOST_UNKNOWNS`.
    """

    def __init__(self, plan: FloorPlan, spacing_m: float) -> None:
        from skfem import Basis, ElementTriP3, MeshTri

        self.plan = plan
        mesh = triangulate(plan, spacing_m=spacing_m)
        self._mesh = MeshTri(
            np.ascontiguousarray(mesh.points_m.T), np.ascontiguousarray(mesh.triangles.T)
        )
        self.basis: Any = Basis(self._mesh, ElementTriP3(), intorder=6)
        if self.basis.N > MOST_UNKNOWNS:
            msg = f"a mesh of {spacing_m:.3f} m has {self.basis.N} unknowns, over {MOST_UNKNOWNS}"
            raise ValueError(msg)

    @property
    def n_unknowns(self) -> int:
        """Number of unknowns."""
        return int(self.basis.N)

    def integrals(self, form: Form) -> Any:
        """Return the integrals of a form over the plan, a sparse matrix."""
        from skfem import BilinearForm

        return BilinearForm(form).assemble(self.basis)

    def along_wall(self, wall: int, form: Form) -> Any:
        """Return the integrals of a form along one wall, a sparse matrix."""
        from skfem import BilinearForm, FacetBasis

        facets = self._mesh.boundary_facets()
        middles = self._mesh.p[:, self._mesh.facets[:, facets]].mean(axis=1).T
        chosen = facets[_on_wall(self.plan, wall, middles)]
        return BilinearForm(form).assemble(FacetBasis(self._mesh, self.basis.elem, facets=chosen))

    def values_at(self, points_m: Float) -> Any:
        """Return what gives a function's values at points, shape (m, 2): a sparse matrix.

        Points on a wall are found too: they are taken a hair inside.
        """
        at = np.atleast_2d(np.asarray(points_m, dtype=np.float64))
        low_x, low_y, high_x, high_y = self.plan.bounds_m
        middle = self.plan.polygon.representative_point()
        inward = np.array([middle.x, middle.y]) - at
        on_edge = ~self.plan.holds(at, margin_m=1e-9 * (high_x - low_x + high_y - low_y))
        at = at + 1e-7 * on_edge[:, np.newaxis] * inward
        return self.basis.probes(np.ascontiguousarray(at.T))


def _on_wall(plan: FloorPlan, wall: int, points_m: Float) -> Any:
    """Return which points lie on a wall."""
    start, stop = plan.array[wall], plan.array[(wall + 1) % plan.n_walls]
    along = stop - start
    length_m = np.linalg.norm(along)
    away = points_m - start
    off = np.abs(away[:, 0] * along[1] - away[:, 1] * along[0]) / length_m
    share = away @ along / length_m**2
    return (off < 1e-7) & (share > 0) & (share < 1)
