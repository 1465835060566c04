r"""Which observations nothing checks, and which further observation would check them.

An observation with a redundancy number below `UNCHECKED_BELOW` could be wrong by many of its
sigmas without a sign of it. Of all distances that nobody took, each would raise the redundancy of
observation i by

.. math:: \frac{(a_i^T Q\,a)^2}{\sigma_i^2\,(\sigma^2 + a^T Q\,a)},

with the derivatives a and the sigma of the further one: the covariance after one more observation
(Sherman and Morrison's formula). The one that raises it most is proposed; where none lifts it
above `UNCHECKED_BELOW`, reading it once more, independently, is: that checks for slips at least.

References
----------
W. Baarda, "Reliability and precision of networks", Netherlands Geodetic Commission 1977
(from memory).
J. Sherman and W. J. Morrison, Ann. Math. Statist. 21, 124, 1950 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.network import NetworkObservation, observation_slopes
from analysis.survey.adjustment.survey_network import nearest_segment
from analysis.survey.solution import Solution
from analysis.survey.survey import SIDES, SURVEY_TAPE_STD_M

UNCHECKED_BELOW: Final = 0.1
"""Below it an error of ten sigmas moves its own residual by no more than one of them each, and
goes unseen. Common practice in engineering surveys (from memory)."""

_NOT_HELD: Final = (" wall a", " wall b", "line start", "line ahead")


@dataclass(frozen=True, kw_only=True, slots=True)
class Uncheckable:
    """An observation that the others don't check.

    Attributes
    ----------
    redundancy : float
        0 to `UNCHECKED_BELOW`.
    add : str
        The observation that would check it.
    again : bool
        Whether that is the same observation once more.
    """

    label: str
    kind: str
    redundancy: float
    add: str
    again: bool
    redundancy_then: float


def uncheckable_observations(solution: Solution) -> tuple[Uncheckable, ...]:
    """Return the observations that nothing checks, the least checked first.

    Returns
    -------
    tuple of Uncheckable
        Statements that follow from the box or were assumed are left out.
    """
    adjusted, survey_network = solution.adjusted, solution.survey_network
    poor = [
        row
        for row, observation in enumerate(survey_network.observations)
        if adjusted.active[row]
        and adjusted.redundancy[row] < UNCHECKED_BELOW
        and observation.instrument not in ("box", "assumed")
    ]
    if not poor:
        return ()
    offers, labels = _possible_observations(solution)
    network = survey_network.network
    _, own = observation_slopes(
        network, adjusted.positions_m, [network.observations[row] for row in poor]
    )
    if offers:
        _, theirs = observation_slopes(network, adjusted.positions_m, offers)
        spread = theirs @ adjusted.covariance
        gain = (own @ spread.T) ** 2 / (
            SURVEY_TAPE_STD_M**2 + np.einsum("ij,ij->i", spread, theirs)
        )
    else:
        gain = np.zeros((len(poor), 0))
    found = [_propose_check(solution, row, gain[k], labels) for k, row in enumerate(poor)]
    return tuple(sorted(found, key=lambda one: one.redundancy))


def _possible_observations(solution: Solution) -> tuple[list[NetworkObservation], list[str]]:
    """Return distances and wall observations that could still be taken, and their labels."""
    survey_network = solution.survey_network
    taken = {frozenset(one.nodes) for one in survey_network.network.observations}
    held = {
        name: k
        for name, k in survey_network.node.items()
        if not name.endswith(_NOT_HELD) and not name.endswith(" tweeter")
    }
    boxes = [{f"{side} inner", f"{side} outer"} for side in SIDES]
    offers, labels = [], []
    for (first, a), (second, b) in combinations(held.items(), 2):
        if frozenset((a, b)) not in taken and {first, second} not in boxes:
            offers.append(
                NetworkObservation(kind="distance", nodes=(a, b), value=1.0, std=SURVEY_TAPE_STD_M)
            )
            labels.append(f"{first} to {second}")
    for wall, parts in survey_network.segments.items():
        for name, k in held.items():
            ends = nearest_segment(parts, k, solution.adjusted.positions_m)
            if len({k, *ends}) == 3 and frozenset((k, *ends)) not in taken:
                offers.append(
                    NetworkObservation(
                        kind="perpendicular", nodes=(k, *ends), value=1.0, std=SURVEY_TAPE_STD_M
                    )
                )
                labels.append(f"{name} to wall {wall}")
    return offers, labels


def _propose_check(solution: Solution, row: int, gain: Float, labels: list[str]) -> Uncheckable:
    """Return an observation with what would check it best."""
    observation, std = solution.survey_network.observations[row], solution.adjusted.network.std[row]
    redundancy = float(solution.adjusted.redundancy[row])
    best = int(np.argmax(gain)) if gain.size else -1
    then = redundancy + float(gain[best] / std**2) if gain.size else redundancy
    if then >= UNCHECKED_BELOW:
        add, again = labels[best], False
    else:
        # Twice the same: its share of the fit is halved, and more.
        then = 1 - (1 - redundancy) / (2 - redundancy)
        add, again = observation.label, True
    return Uncheckable(
        label=observation.label,
        kind=observation.kind,
        redundancy=redundancy,
        add=add,
        again=again,
        redundancy_then=min(then, 1.0),
    )
