"""A triangle mesh of a floor plan, and cubic finite elements on it.

Conventions: lengths in metres. The mesh is finer toward corners that point into the room: there a
mode's pressure has a singular slope (it goes as the distance to the power 2/3 at a square
corner), so rings of points close in on it, each at half the distance of the one before. A form
takes two functions `u` and `v` and the weights `w` as scikit-fem has them; `w.x` holds x and y.
Matrices are sparse, over the unknowns of the mesh.

References
----------
J. Ruppert, "A Delaunay refinement algorithm for quality 2-dimensional mesh generation",
J. Algorithms 18, 1995: walls that the triangulation misses are halved (from memory).
The triangulation is scipy's (Qhull).
T. Gustafsson, G. D. McBain, "scikit-fem: A Python package for finite element assembly",
JOSS 5(52), 2369, 2020.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

from analysis.basics.arrays import Float
from analysis.room.floor_plan import FloorPlan

Indices = NDArray[np.int64]
Form = Callable[[Any, Any, Any], Any]

MOST_UNKNOWNS: Final = 60_000
"""A larger problem isn't solved: the frequency limit is too high for the room."""

N_RINGS: Final = 9
"""Rings about a corner that points inward: the innermost is 1/512 of the outermost, which
leaves less than 0.01 % of the singular part's error with cubic elements."""

_RING_STEP_RAD: Final = np.pi / 7
"""Angle between the points of a ring: as far apart as the ring is from the next."""

_KEEP_OFF: Final = 0.55
"""Inner points nearer to a wall's points than this share of the spacing are left out."""

_MOST_ROUNDS: Final = 12
"""Rounds of halving walls that the triangulation misses."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class TriangleMesh:
    """Triangles that fill a floor plan.

    Attributes
    ----------
    points_m : ndarray, shape (n, 2)
    triangles : ndarray of int, shape (t, 3)
    """

    points_m: Float
    triangles: Indices


def triangulate(plan: FloorPlan, *, spacing_m: float) -> TriangleMesh:
    """Return a mesh whose sides are about a given length.

    Parameters
    ----------
    plan : FloorPlan
    spacing_m : float
        Above 0.

    Returns
    -------
    TriangleMesh

    Raises
    ------
    ValueError
        If the spacing isn't above 0, or no mesh keeps to the walls.
    """
    if not spacing_m > 0:
        msg = f"spacing_m {spacing_m} must lie above 0"
        raise ValueError(msg)
    radii = {k: _ring_radius_m(plan, k, spacing_m) for k in plan.reentrant}
    walls = [_wall_points(plan, k, spacing_m, radii) for k in range(plan.n_walls)]
    inner = _inner_points(plan, spacing_m, radii, np.concatenate(walls))
    for _ in range(_MOST_ROUNDS):
        mesh, missed = _triangulated(plan, walls, inner)
        if not missed:
            return mesh
        for k, starts in missed.items():
            middles = 0.5 * (_closed(plan, walls, k)[starts] + _closed(plan, walls, k)[starts + 1])
            walls[k] = np.insert(walls[k], starts + 1, middles, axis=0)
    msg = "floor_m: no mesh keeps to the walls; leave out the smallest niche"
    raise ValueError(msg)


def _ring_radius_m(plan: FloorPlan, corner: int, spacing_m: float) -> float:
    """Return the outermost ring's radius: clear of all walls but the corner's own two."""
    from shapely import LineString, Point

    at = Point(plan.corners_m[corner])
    n = plan.n_walls
    others = [
        LineString([plan.corners_m[k], plan.corners_m[(k + 1) % n]]).distance(at)
        for k in range(n)
        if k not in (corner, (corner - 1) % n)
    ]
    lengths = plan.wall_lengths_m
    clear_m = min(*others, float(lengths[corner]), float(lengths[corner - 1]))
    return min(0.45 * float(clear_m), spacing_m)


def _wall_points(plan: FloorPlan, wall: int, spacing_m: float, radii: dict[int, float]) -> Float:
    """Return the points of a wall from its first corner on, without its last one."""
    start, stop = plan.array[wall], plan.array[(wall + 1) % plan.n_walls]
    length_m = float(np.linalg.norm(stop - start))
    rings = 0.5 ** np.arange(N_RINGS - 1, -1, -1)
    first = rings * radii[wall] if wall in radii else np.zeros(0)
    after = (wall + 1) % plan.n_walls
    last = length_m - rings[::-1] * radii[after] if after in radii else np.zeros(0)
    low = float(first[-1]) if first.size else 0.0
    high = float(last[0]) if last.size else length_m
    n_steps = max(1, round((high - low) / spacing_m))
    middle = np.linspace(low, high, n_steps + 1)
    along = np.unique(np.concatenate(([0.0], first, middle, last)))
    along = along[along < length_m * (1 - 1e-9)]
    return np.asarray(start + along[:, np.newaxis] / length_m * (stop - start))


def _inner_points(
    plan: FloorPlan, spacing_m: float, radii: dict[int, float], on_walls: Float
) -> Float:
    """Return a lattice of equilateral triangles, and rings where it must be finer."""
    low_x, low_y, high_x, high_y = plan.bounds_m
    rows = np.arange(low_y, high_y, spacing_m * np.sqrt(0.75))
    columns = np.arange(low_x - spacing_m, high_x, spacing_m)
    x, y = np.meshgrid(columns, rows)
    x[1::2] += 0.5 * spacing_m
    lattice = np.stack([x.ravel(), y.ravel()], axis=1)
    lattice = lattice[plan.holds(lattice, margin_m=0.3 * spacing_m)]
    if lattice.size:
        near, _ = cKDTree(on_walls).query(lattice)
        lattice = lattice[near > _KEEP_OFF * spacing_m]
    for corner, radius_m in radii.items():
        away = np.linalg.norm(lattice - plan.array[corner], axis=1)
        lattice = lattice[away > radius_m + 0.5 * min(spacing_m, radius_m)]
    rings = [_rings(plan, corner, radius_m) for corner, radius_m in radii.items()]
    return np.concatenate([lattice, *rings])


def _rings(plan: FloorPlan, corner: int, radius_m: float) -> Float:
    """Return the inner points of the rings about a corner."""
    at = plan.array[corner]
    out = plan.array[(corner + 1) % plan.n_walls] - at
    back = plan.array[corner - 1] - at
    first = np.arctan2(out[1], out[0])
    opening = (np.arctan2(back[1], back[0]) - first) % (2 * np.pi)
    n_steps = max(2, round(opening / _RING_STEP_RAD))
    angles = first + opening * np.arange(1, n_steps) / n_steps
    radii = radius_m * 0.5 ** np.arange(N_RINGS)
    turned = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return np.asarray((at + radii[:, np.newaxis, np.newaxis] * turned).reshape(-1, 2))


def _closed(plan: FloorPlan, walls: list[Float], wall: int) -> Float:
    """Return a wall's points with its last corner."""
    return np.concatenate([walls[wall], walls[(wall + 1) % plan.n_walls][:1]])


def _triangulated(
    plan: FloorPlan, walls: list[Float], inner: Float
) -> tuple[TriangleMesh, dict[int, Indices]]:
    """Return the triangles inside the plan, and the pieces of walls that they miss."""
    points = np.concatenate([*walls, inner])
    triangles = Delaunay(points).simplices.astype(np.int64)
    corners = points[triangles]
    area = np.abs(np.linalg.det(corners[:, 1:] - corners[:, :1]))
    inside = plan.holds(corners.mean(axis=1)) & (area > 1e-14)
    triangles = triangles[inside]
    sides = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    n_all = points.shape[0]
    known = np.unique(sides[:, 0] * n_all + sides[:, 1])
    n_boundary = sum(wall.shape[0] for wall in walls)
    first = np.arange(n_boundary)
    ends = np.sort(np.stack([first, (first + 1) % n_boundary], axis=1), axis=1)
    there = np.isin(ends[:, 0] * n_all + ends[:, 1], known)
    missed: dict[int, Indices] = {}
    start = 0
    for k, wall in enumerate(walls):
        lacking = np.flatnonzero(~there[start : start + wall.shape[0]])
        if lacking.size:
            missed[k] = lacking
        start += wall.shape[0]
    return TriangleMesh(points_m=points, triangles=triangles), missed


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
