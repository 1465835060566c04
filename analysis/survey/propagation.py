r"""What follows from adjusted places, each with one sigma.

A quantity :math:`g` of the places has the variance :math:`\nabla g^T Q \nabla g` to first
order. The gradient by the unknowns is taken by central differences of a micrometre, all
unknowns at once: for the smooth functions of plan geometry that is exact to 1e-9. Where
:math:`g` changes along a direction that nothing fixes it isn't known at all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.least_squares import Adjustment

STEP_M: Final = 1e-6
OPEN_CHANGE: Final = 1e-6
"""A change by less than this per metre of an open direction is rounding."""

Quantities = Callable[[Float], dict[str, Float]]
"""From places, shape (..., n_nodes, 3), to named quantities, shape (...)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Estimate:
    """A quantity with its uncertainty.

    Attributes
    ----------
    value : float or None
        None where the observations don't fix it.
    std : float or None
        One sigma in the same unit.
    """

    value: float | None
    std: float | None

    @property
    def value_and_std(self) -> tuple[float, float]:
        """Value and sigma; of a quantity that isn't known, 0 and infinity."""
        if self.value is None or self.std is None:
            return 0.0, float("inf")
        return self.value, self.std


def propagate(adjusted: Adjustment, quantities: Quantities) -> dict[str, Estimate]:
    """Return quantities of the adjusted places with their uncertainties.

    Returns
    -------
    dict of str to Estimate
        In the units that `quantities` has.
    """
    slopes = adjusted.network.node_map.toarray().T.reshape(-1, *adjusted.positions_m.shape)
    places = np.concatenate(
        [
            adjusted.positions_m[None],
            adjusted.positions_m + STEP_M * slopes,
            adjusted.positions_m - STEP_M * slopes,
        ]
    )
    n = len(slopes)
    found = {}
    for name, values in quantities(places).items():
        gradient = (values[1 : n + 1] - values[n + 1 :]) / (2 * STEP_M)
        change = np.abs(gradient @ adjusted.open_directions).max(initial=0.0)
        if change > OPEN_CHANGE or not np.isfinite(values[0]):
            found[name] = Estimate(value=None, std=None)
        else:
            variance = float(gradient @ adjusted.covariance @ gradient)
            found[name] = Estimate(value=float(values[0]), std=max(variance, 0.0) ** 0.5)
    return found
