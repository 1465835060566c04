r"""Which of many quantities changed between two groups of repeats.

Conventions: a change is mean after less mean before; ``_std`` is one sigma of that change.
Each quantity comes with the sigma that a single reading states of itself.

Few repeats tell little about a spread: with two and two there are two degrees of freedom, and
Student's t asks for very large changes. But the readings state their own sigma, which gives
the spreads' *ratios*; the repeats then give their size, all quantities together. With the
variance of quantity k over its stated one, :math:`r_k = s_k^2 / u_k^2`, on d degrees of
freedom, the :math:`r_k` are taken as draws about a common :math:`r_0` that itself is known as
if from :math:`d_0` degrees of freedom, both estimated from the mean and the spread of
:math:`\ln r_k`. Then

.. math:: \tilde r_k = \frac{d_0 r_0 + d\, r_k}{d_0 + d}, \qquad
   t_k = \frac{\Delta_k}{u_k \sqrt{\tilde r_k (1/n_1 + 1/n_2)}}

has Student's t with :math:`d_0 + d` degrees of freedom. Where stated sigmas are wrong by one
common factor :math:`d_0` is large; where they are wrong each in its way it goes to zero and a
plain t test is left. That is done for each family of quantities by itself, such as all levels
of reflections. Without any repeat the stated sigma is taken as known.

Over the whole comparison Holm's correction keeps the chance of any false claim below
``CHANCE``.

References
----------
S. Holm, "A simple sequentially rejective multiple test procedure", Scand. J. Statist. 6, 65
(1979); G. K. Smyth, "Linear models and empirical Bayes methods for assessing differential
expression", Stat. Appl. Genet. Mol. Biol. 3, 3 (2004), section 6 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr, polygamma, psi, stdtr

from analysis.basics.arrays import Float

CHANCE: Final = 0.05
"""Of claiming any change in a whole comparison where there is none."""

MOST_FREEDOM: Final = 1e6
"""More degrees of freedom are no different from a known sigma."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Repeats:
    """One quantity in two groups of readings.

    Attributes
    ----------
    before, after : tuple of float
        One value a reading; at least one each.
    stated_std : float
        One sigma of a single reading as it states it, above 0.
    least : float
        A smaller change is none, however sure it is; at least 0.
    family : str
        Quantities of one family are likely to state their sigma wrong by a like factor.
    """

    name: str
    unit: str
    before: tuple[float, ...]
    after: tuple[float, ...]
    stated_std: float
    least: float = 0.0
    family: str = ""

    def __post_init__(self) -> None:
        if not (self.before and self.after):
            msg = f"{self.name} must have a value before and after"
            raise ValueError(msg)
        if not 0 < self.stated_std < math.inf:
            msg = f"stated_std {self.stated_std} of {self.name} must be above 0"
            raise ValueError(msg)


@dataclass(frozen=True, kw_only=True, slots=True)
class GroupChange:
    """What became of one quantity.

    Attributes
    ----------
    before, after, change : float
        Means and their difference.
    std : float
        One sigma of the change.
    freedom : float
        Degrees of freedom behind it; infinite where the stated sigma is taken as known.
    chance : float
        Of so large a change where there is none, for this quantity alone.
    beyond_uncertainty : bool
        Whether it is one, all quantities of the comparison considered.
    """

    name: str
    unit: str
    before: float
    after: float
    change: float
    std: float
    freedom: float
    chance: float
    beyond_uncertainty: bool


def judge_changes(quantities: Sequence[Repeats], *, chance: float = CHANCE) -> list[GroupChange]:
    """Return what changed.

    Parameters
    ----------
    chance : float
        Of any false claim in the whole comparison, above 0, below 1.

    Returns
    -------
    list of GroupChange
        In the order given.

    Raises
    ------
    ValueError
        If `chance` lies outside.
    """
    if not 0 < chance < 1:
        msg = f"chance {chance} must lie between 0 and 1"
        raise ValueError(msg)
    spreads = _moderate_by_family(quantities)
    found = [
        _estimate_change(one, *spread) for one, spread in zip(quantities, spreads, strict=True)
    ]
    claimed = _apply_holm([one[3] for one in found], chance)
    return [
        GroupChange(
            name=one.name,
            unit=one.unit,
            before=float(np.mean(one.before)),
            after=float(np.mean(one.after)),
            change=change,
            std=std,
            freedom=freedom,
            chance=p,
            beyond_uncertainty=sure and abs(change) >= one.least,
        )
        for one, (change, std, freedom, p), sure in zip(quantities, found, claimed, strict=True)
    ]


def _estimate_change(
    one: Repeats, ratio: float, freedom: float
) -> tuple[float, float, float, float]:
    """Return the change, its sigma, the degrees of freedom and the chance."""
    change = float(np.mean(one.after) - np.mean(one.before))
    share = 1 / len(one.before) + 1 / len(one.after)
    std = one.stated_std * math.sqrt(ratio * share)
    size = abs(change) / std
    tail = ndtr(-size) if math.isinf(freedom) else stdtr(freedom, -size)
    return change, std, freedom, 2 * float(tail)


def _apply_holm(chances: Sequence[float], chance: float) -> list[bool]:
    """Return which are claimed: the smallest first, until one isn't small enough."""
    claimed = [False] * len(chances)
    for rank, index in enumerate(sorted(range(len(chances)), key=lambda i: chances[i])):
        if chances[index] > chance / (len(chances) - rank):
            break
        claimed[index] = True
    return claimed


def _moderate_by_family(quantities: Sequence[Repeats]) -> list[tuple[float, float]]:
    """Return variance over the stated one and degrees of freedom, family by family."""
    found: list[tuple[float, float]] = [(1.0, math.inf)] * len(quantities)
    for family in {one.family for one in quantities}:
        rows = [k for k, one in enumerate(quantities) if one.family == family]
        for k, spread in zip(rows, _moderate_variances([quantities[k] for k in rows]), strict=True):
            found[k] = spread
    return found


def _moderate_variances(quantities: Sequence[Repeats]) -> list[tuple[float, float]]:
    """Return for each quantity its variance over the stated one, and the degrees of freedom."""
    ratios = np.array([_variance_ratio(one) for one in quantities])
    freedom = np.array([len(one.before) + len(one.after) - 2 for one in quantities], dtype=float)
    known = (freedom > 0) & (ratios > 0)
    if not known.any():
        return [(1.0, math.inf)] * len(quantities)
    common, prior = _common_ratio(ratios[known], freedom[known])
    moderated: list[tuple[float, float]] = []
    for ratio, own in zip(ratios, freedom, strict=True):
        total = min(float(own) + prior, MOST_FREEDOM)
        weight = prior / (prior + own) if math.isfinite(prior) else 1.0
        # Together they can't know more than all repeats do.
        total = min(total, float(freedom[known].sum()))
        moderated.append((float(weight * common + (1 - weight) * ratio), total))
    return moderated


def _variance_ratio(one: Repeats) -> float:
    """Return the variance within the groups over the stated one; 0 without repeats."""
    freedom = len(one.before) + len(one.after) - 2
    if freedom == 0:
        return 0.0
    within = sum(float(np.sum((np.array(v) - np.mean(v)) ** 2)) for v in (one.before, one.after))
    return within / freedom / one.stated_std**2


def _common_ratio(ratios: Float, freedom: Float) -> tuple[float, float]:
    """Return the common ratio and its degrees of freedom, by the moments of the logarithm."""
    if ratios.size == 1:
        return float(ratios[0]), 0.0
    half = freedom / 2
    logs = np.log(ratios) - psi(half) + np.log(half)
    spread = float(np.var(logs, ddof=1)) - float(np.mean(polygamma(1, half)))
    if spread <= 0:
        return float(np.sum(ratios * freedom) / np.sum(freedom)), math.inf
    prior = 2 * _inverse_trigamma(spread)
    centre = float(np.mean(logs)) + float(psi(prior / 2)) - math.log(prior / 2)
    return math.exp(centre), prior


def _inverse_trigamma(value: float) -> float:
    """Return y whose trigamma is a value above 0, by Newton's method on the reciprocal."""
    y = 0.5 + 1 / value
    for _ in range(50):
        tri = float(polygamma(1, y))
        step = tri * (1 - tri / value) / float(polygamma(2, y))
        y += step
        if abs(step) < 1e-9 * y:
            break
    return y
