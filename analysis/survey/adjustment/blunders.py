r"""Which observation of a network is wrong, and what it should have been.

Data snooping: the observation with the largest standardised residual above a critical value is
set aside, the network adjusted again, and so on; what then fits again is taken back. The
critical value is such that all observations of a clean survey together raise a false alarm with
the chance `FALSE_ALARM` (Šidák's bound).

Least squares spread gross errors so far that the search may begin at the wrong end. From a start
that resists them, observations more than `GROSS` sigmas off can be set aside before it.

A wrong observation spreads its error into residuals that correlate with its own. Where another
correlates above `ALIKE`, the observations can't tell which of the two is wrong, and both are named:
unless the error is so large that the rest of it would show if the other were to blame. With the
standardised residual w and the correlation :math:`\rho` that rest is
:math:`w \sqrt{1 - \rho^2}`.

References
----------
W. Baarda, "A testing procedure for use in geodetic networks", Netherlands Geodetic
Commission 1968 (from memory).
Z. Šidák, J. Amer. Statist. Assoc. 62, 626, 1967 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import special

from analysis.basics.arrays import Float, Mask
from analysis.survey.adjustment.least_squares import (
    Adjustment,
    adjust,
    residual_correlation,
    solve_unknowns,
)
from analysis.survey.adjustment.network import Network, fitted_values

FALSE_ALARM: Final = 0.03
"""Chance that a clean survey has an observation called wrong."""

ALIKE: Final = 0.9
"""Residuals that correlate more than this can't be told apart: a blunder of six of its own
sigmas then shows as the wrong one in one case of ten."""

CLEARLY: Final = 2.0
"""By so many sigmas the rest must exceed the critical value for an alike one to be cleared."""

GROSS: Final = 20.0
"""Sigmas; what an observation is off by, not in its residual. Below it one step of least squares
shows each observation's own error: 3 cm by tape."""

LEAST_REDUNDANCY: Final = 0.02
"""An observation that is checked less than this is never called wrong: its residual is rounding."""

MOST_SHARE: Final = 0.3
"""Share of the observations that may be set aside: with more, the survey is begun again."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Blunder:
    """An observation that doesn't fit the others.

    Attributes
    ----------
    row : int
        Index of the observation.
    given, expected : float
        What was read and what the others say, in metres or radians.
    expected_std : float
        One sigma of the latter.
    standardised : float
        How far the others put it from what was read, in the sigmas of that difference.
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
    """Return the standardised residual above which an observation is called wrong.

    Parameters
    ----------
    n_tests : int
        How many observations are looked at, at least 1.
    false_alarm : float
        Chance that any of them is called wrong by accident, 0 to 1.

    Examples
    --------
    Of one the normal distribution's two-sided quantile, of many a larger one.

    >>> round(critical_value(1, false_alarm=0.05), 6)
    1.959964
    >>> round(critical_value(60), 2)
    3.48
    """
    each = -np.expm1(np.log1p(-false_alarm) / max(n_tests, 1))
    return float(-special.ndtri(each / 2))


def search_blunders(
    network: Network, start: Float, *, suspects: Mask | None = None, aside: Sequence[int] = ()
) -> tuple[Adjustment, tuple[Blunder, ...]]:
    """Adjust a network without the observations that don't fit.

    Parameters
    ----------
    start : ndarray, shape (n_unknowns,)
    suspects : ndarray of bool, optional
        Which may be called wrong; by default all.
    aside : sequence of int
        Observations set aside to begin with; taken back if they fit after all.

    Returns
    -------
    adjustment : Adjustment
        With the observations that fit.
    blunders : tuple of Blunder
        By how far they are off, the worst first.
    """
    allowed = np.ones(len(network.observations), bool) if suspects is None else suspects
    adjusted = adjust(network, start)
    limit = critical_value(int(np.sum(allowed & (adjusted.redundancy > LEAST_REDUNDANCY))))
    out = list(aside)
    if out:
        adjusted = _adjust_without(replace(adjusted, unknowns=start), out)
    while len(out) < MOST_SHARE * allowed.sum():
        row = _worst_row(adjusted, allowed, limit)
        if row is None:
            break
        out.append(row)
        adjusted = _adjust_without(adjusted, out)
    adjusted = _take_back(adjusted, out, limit)
    found = [
        Blunder(
            row=row,
            given=float(network.value[row]),
            expected=float(network.value[row] + adjusted.residual[row]),
            expected_std=float(adjusted.fitted_std[row]),
            standardised=_deleted_residual(adjusted, row),
            alternatives=_alternative_rows(adjusted, row, allowed, limit),
        )
        for row in out
    ]
    return adjusted, tuple(sorted(found, key=lambda one: -abs(one.standardised)))


def gross_observations(network: Network, start: Float, suspects: Mask) -> list[int]:
    """Return the observations that a start is far away from.

    Parameters
    ----------
    start : ndarray, shape (n_unknowns,)
        That resists gross errors, so that they are those far off here.

    Returns
    -------
    list of int
        Empty where they are too many.
    """
    misfit = (network.value - fitted_values(network, network.positions(start))) / network.std
    rows = np.flatnonzero(suspects & (np.abs(misfit) > GROSS))
    return [int(row) for row in rows] if rows.size < MOST_SHARE * suspects.sum() else []


def likeliest_blunder(network: Network, start: Float, suspects: Mask) -> tuple[Float, list[int]]:
    """Return the solution without the one observation whose absence helps most, and its row.

    Parameters
    ----------
    start : ndarray, shape (n_unknowns,)

    Returns
    -------
    unknowns : ndarray, shape (n_unknowns,)
    aside : list of int
    """
    found = []
    for row in np.flatnonzero(suspects):
        active = np.ones(suspects.size, bool)
        active[row] = False
        unknowns, chi_square, _ = solve_unknowns(network, start, active=active, n_steps=10)
        found.append((chi_square, int(row), unknowns))
    _, culprit, without = min(found, key=lambda one: one[0])
    return without, [culprit]


def _deleted_residual(adjusted: Adjustment, row: int) -> float:
    """Return how far an observation that was set aside is off, in the sigmas of that."""
    spread = np.hypot(adjusted.network.std[row], adjusted.fitted_std[row])
    return float(adjusted.residual[row] / spread)


def _worst_row(adjusted: Adjustment, allowed: Mask, limit: float) -> int | None:
    """Return the observation that fits worst, if any is beyond the limit."""
    if adjusted.degrees_of_freedom < 1:
        return None
    looked = allowed & adjusted.active & (adjusted.redundancy > LEAST_REDUNDANCY)
    size = np.where(looked, np.abs(adjusted.standardised), 0.0)
    row = int(np.argmax(size))
    return row if size[row] > limit else None


def _alternative_rows(
    adjusted: Adjustment, row: int, allowed: Mask, limit: float
) -> tuple[int, ...]:
    """Return the observations that may be wrong instead of one that was set aside."""
    # As if it had been read as the others say: where it counts, all else stays.
    network = adjusted.network
    values = network.value.copy()
    values[row] += adjusted.residual[row]
    active = adjusted.active.copy()
    active[row] = True
    as_expected = adjust(replace(network, value=values), adjusted.unknowns, active=active)
    correlation = np.abs(residual_correlation(as_expected, row)).clip(0, 1)
    rest = abs(_deleted_residual(adjusted, row)) * np.sqrt(1 - correlation**2)
    looked = allowed & adjusted.active & (correlation > ALIKE) & (rest < limit + CLEARLY)
    return tuple(int(other) for other in np.flatnonzero(looked))


def _adjust_without(adjusted: Adjustment, aside: list[int]) -> Adjustment:
    """Adjust again without what was set aside."""
    active = np.ones(len(adjusted.network.observations), bool)
    active[aside] = False
    return adjust(adjusted.network, adjusted.unknowns, active=active)


def _take_back(adjusted: Adjustment, aside: list[int], limit: float) -> Adjustment:
    """Take back, one by one, what fits the others after all."""
    while len(aside) > 1:
        row = min(aside, key=lambda one: abs(_deleted_residual(adjusted, one)))
        if abs(_deleted_residual(adjusted, row)) > limit:
            break
        aside.remove(row)
        adjusted = _adjust_without(adjusted, aside)
    return adjusted
