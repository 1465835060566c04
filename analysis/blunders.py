r"""Which reading of a network is wrong, and what it should have been.

Data snooping: the reading with the largest standardised residual above a critical value is
set aside, the network adjusted again, and so on; what then fits again is taken back. The
critical value is such that all readings of a clean survey together raise a false alarm with
the chance `FALSE_ALARM` (Šidák's bound).

A wrong reading spreads its error into residuals that correlate with its own. Where another
correlates above `ALIKE`, the readings can't tell which of the two is wrong, and both are named.

References
----------
W. Baarda, "A testing procedure for use in geodetic networks", Netherlands Geodetic
Commission 1968 (from memory).
Z. Šidák, J. Amer. Statist. Assoc. 62, 626, 1967 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import special

from analysis.arrays import Float, Mask
from analysis.network import Network
from analysis.network_adjustment import Adjustment, adjust, residual_correlation

FALSE_ALARM: Final = 0.03
"""Chance that a clean survey has a reading called wrong."""

ALIKE: Final = 0.9
"""Residuals that correlate more than this can't be told apart: a blunder of six of its own
sigmas then shows as the wrong one in one case of ten."""

LEAST_REDUNDANCY: Final = 0.02
"""A reading that is checked less than this is never called wrong: its residual is rounding."""

MOST_SHARE: Final = 0.3
"""Share of the readings that may be set aside: with more, the survey is begun again."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Blunder:
    """A reading that doesn't fit the others.

    Attributes
    ----------
    row : int
        Index of the observation.
    given, expected : float
        What was read and what the others say, in metres or radians.
    expected_std : float
        One sigma of the latter.
    standardised : float
        Residual when it was set aside, in its own sigmas.
    alternatives : tuple of int
        Observations that may be wrong instead.
    """

    row: int
    given: float
    expected: float
    expected_std: float
    standardised: float
    alternatives: tuple[int, ...]


def critical_value(n_tests: int, *, false_alarm: float = FALSE_ALARM) -> float:
    """Return the standardised residual above which a reading is called wrong.

    Parameters
    ----------
    n_tests : int
        How many readings are looked at, at least 1.
    false_alarm : float
        Chance that any of them is called wrong by accident, 0 to 1.

    Returns
    -------
    float
    """
    each = -np.expm1(np.log1p(-false_alarm) / max(n_tests, 1))
    return float(-special.ndtri(each / 2))


def search_blunders(
    network: Network, start: Float, *, suspects: Mask | None = None
) -> tuple[Adjustment, tuple[Blunder, ...]]:
    """Adjust a network without the readings that don't fit.

    Parameters
    ----------
    network : Network
    start : ndarray, shape (n_unknowns,)
    suspects : ndarray of bool, optional
        Which may be called wrong; by default all.

    Returns
    -------
    adjustment : Adjustment
        With the readings that fit.
    blunders : tuple of Blunder
        By how far they are off, the worst first.
    """
    allowed = np.ones(len(network.observations), bool) if suspects is None else suspects
    adjusted = adjust(network, start)
    limit = critical_value(int(np.sum(allowed & (adjusted.redundancy > LEAST_REDUNDANCY))))
    aside: dict[int, tuple[float, tuple[int, ...]]] = {}
    while len(aside) < MOST_SHARE * allowed.sum():
        row = _worst(adjusted, allowed, limit)
        if row is None:
            break
        aside[row] = (float(adjusted.standardised[row]), _alike(adjusted, row, allowed))
        adjusted = _without(adjusted, aside)
    adjusted = _taken_back(adjusted, aside, limit)
    found = [
        Blunder(
            row=row,
            given=float(network.value[row]),
            expected=float(network.value[row] + adjusted.residual[row]),
            expected_std=float(adjusted.fitted_std[row]),
            standardised=standardised,
            alternatives=alternatives,
        )
        for row, (standardised, alternatives) in aside.items()
    ]
    return adjusted, tuple(sorted(found, key=lambda one: -abs(one.standardised)))


def _worst(adjusted: Adjustment, allowed: Mask, limit: float) -> int | None:
    """Return the reading that fits worst, if any is beyond the limit."""
    if adjusted.degrees_of_freedom < 1:
        return None
    looked = allowed & adjusted.active & (adjusted.redundancy > LEAST_REDUNDANCY)
    size = np.where(looked, np.abs(adjusted.standardised), 0.0)
    row = int(np.argmax(size))
    return row if size[row] > limit else None


def _alike(adjusted: Adjustment, row: int, allowed: Mask) -> tuple[int, ...]:
    """Return the readings whose residuals can't be told from this one's."""
    correlation = np.abs(residual_correlation(adjusted, row))
    correlation[row] = 0.0
    looked = allowed & adjusted.active & (correlation > ALIKE)
    return tuple(int(other) for other in np.flatnonzero(looked))


def _without(adjusted: Adjustment, aside: dict[int, tuple[float, tuple[int, ...]]]) -> Adjustment:
    """Adjust again without what was set aside."""
    active = np.ones(len(adjusted.network.observations), bool)
    active[list(aside)] = False
    return adjust(adjusted.network, adjusted.unknowns, active=active)


def _taken_back(
    adjusted: Adjustment, aside: dict[int, tuple[float, tuple[int, ...]]], limit: float
) -> Adjustment:
    """Take back, one by one, what fits the others after all."""
    while len(aside) > 1:
        spread = np.hypot(adjusted.network.std, adjusted.fitted_std)
        off = {row: abs(float(adjusted.residual[row] / spread[row])) for row in aside}
        row = min(off, key=off.__getitem__)
        if off[row] > limit:
            break
        del aside[row]
        adjusted = _without(adjusted, aside)
    return adjusted
