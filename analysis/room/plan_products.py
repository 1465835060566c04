"""Integrals over a floor plan of products of its modes' shapes: what a stretched plan needs.

Conventions: those of `analysis.room.plan_modes`; both last axes run over modes.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.basics.arrays import Float, frozen


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PlanProducts:
    """Products of shapes, each integral divided by the area.

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
            object.__setattr__(self, name, frozen(getattr(self, name), name=name, ndim=ndim))
