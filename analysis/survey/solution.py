"""From a survey to adjusted places: start, adjustment, blunders, and what stays open.

The plans of `approximate_coordinates` are each brought to their nearest least-squares solution;
the one is taken that fits best, where a single observation can't say more than
`MOST_SOLUTION_COST`. If another fits as well and differs, the survey is ambiguous there, and says
so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from scipy.sparse.linalg import splu

from analysis.basics.arrays import Float
from analysis.survey.adjustment.approximate_coordinates import (
    Layout,
    approximate_plans,
    node_heights,
)
from analysis.survey.adjustment.blunders import (
    Blunder,
    gross_observations,
    likeliest_blunder,
    search_blunders,
)
from analysis.survey.adjustment.determinacy import (
    DISTINCT_M,
    describe_ambiguity,
    describe_contradictions,
    describe_undetermined,
)
from analysis.survey.adjustment.least_squares import Adjustment, robust_unknowns, solve_unknowns
from analysis.survey.adjustment.network import (
    Network,
    NetworkObservation,
    fitted_values,
    orient_perpendiculars,
)
from analysis.survey.adjustment.survey_network import (
    USUAL_HEIGHT_M,
    SurveyNetwork,
    build_survey_network,
)
from analysis.survey.adjustment.usual_layout import usual_layout
from analysis.survey.survey import SIDES, Survey

MOST_SOLUTION_COST: Final = 50.0
"""How much one observation may speak against a solution, in squared sigmas."""

SOLUTION_CONSTRAINT_COST: Final = 1000.0
"""What a statement that doesn't hold costs."""

AMBIGUOUS_COST: Final = 9.0
"""Solutions whose costs differ by less can't be told apart: three sigmas."""

FEW_BLUNDERS: Final = 1
"""With more observations set aside, solutions that resist gross errors are looked for as well."""

MOST_TRIED: Final = 150
"""Observations up to which each is left out by itself then: a tenth of a second for 60."""

N_TRIED: Final = 5
"""How many starting plans are brought to their solutions."""

MOST_EXTRA_COST: Final = 45.0
"""Plans that begin this much worse than the best aren't tried: almost two observations
against them."""


REPEAT_SIGMAS: Final = 6.0
"""Two observations of one distance that agree so well are one observation to start from."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Solution:
    """A solved survey.

    Attributes
    ----------
    undetermined : tuple of str
        What nothing fixes, in words.
    contradictions : tuple of str
        Points that the observations put elsewhere than their names say, in words.
    open_nodes : frozenset of str
        Nodes whose places these leave open.
    """

    survey_network: SurveyNetwork
    adjusted: Adjustment
    blunders: tuple[Blunder, ...]
    undetermined: tuple[str, ...]
    contradictions: tuple[str, ...]
    open_nodes: frozenset[str]

    @property
    def is_contradictory(self) -> bool:
        """Whether more observations were set aside than are left to check the rest."""
        return self.adjusted.degrees_of_freedom < len(self.blunders)

    def place_m(self, name: str) -> Float:
        """Return a node's coordinates in metres, shape (3,)."""
        return np.asarray(self.adjusted.positions_m[self.survey_network.node[name]])

    def place_covariance(self, name: str) -> Float:
        """Return the covariance of a node's coordinates in square metres, shape (3, 3)."""
        row = 3 * self.survey_network.node[name]
        slopes = self.survey_network.network.node_map[row : row + 3].toarray()
        return np.asarray(slopes @ self.adjusted.covariance @ slopes.T)


def solve_survey(survey: Survey) -> Solution:
    """Solve a survey.

    Raises
    ------
    ValueError
        If an observation names a point or wall that isn't there.
    """
    survey_network = build_survey_network(survey)
    start = _find_start(survey_network)
    ambiguous = start.ambiguous
    if any(len(parts) > 1 for parts in survey_network.segments.values()):
        survey_network = build_survey_network(
            survey, positions_m=survey_network.network.positions(start.unknowns)
        )
    adjusted, blunders = _search_from(survey_network, start)
    said, nodes = describe_undetermined(survey_network, adjusted)
    return Solution(
        survey_network=survey_network,
        adjusted=adjusted,
        blunders=blunders,
        undetermined=(*said, *describe_ambiguity(survey_network, ambiguous)),
        contradictions=tuple(describe_contradictions(survey_network, adjusted, nodes | ambiguous)),
        open_nodes=frozenset(nodes | ambiguous),
    )


class _Start(NamedTuple):
    """Where the search for blunders begins.

    Attributes
    ----------
    unknowns : ndarray
        Of the likeliest solution by least squares.
    tried_from : list of ndarray
        From where solutions were looked for.
    ambiguous : set of str
        Nodes that may stand elsewhere.
    """

    unknowns: Float
    tried_from: list[Float]
    ambiguous: set[str]


def _find_start(survey_network: SurveyNetwork) -> _Start:
    """Return where to begin."""
    layout = usual_layout(survey_network)
    network, heights_m = survey_network.network, _approximate_heights(survey_network)
    plans = approximate_plans(
        [*_observations_before_walls(survey_network), *_tweeter_distances(survey_network)],
        heights_m,
        layout,
    )
    found: list[tuple[float, Float]] = []
    tried, tried_from = list[Float](), list[Float]()
    for plan, cost in plans:
        if len(found) == N_TRIED or cost > plans[0][1] + MOST_EXTRA_COST:
            break
        if any(np.abs(plan - other).max() < 2 * DISTINCT_M for other in tried):
            continue
        tried.append(plan)
        unknowns = _nearest_unknowns(
            network, np.column_stack([_place_straight_walls(survey_network, plan), heights_m])
        )
        turned = orient_perpendiculars(network, network.positions(unknowns))
        tried_from.append(unknowns)
        unknowns, _, _ = solve_unknowns(turned, unknowns, n_steps=25)
        found.append((_misfit_cost(turned, unknowns, layout), unknowns))
    found.sort(key=lambda one: one[0])
    return _Start(
        unknowns=found[0][1],
        tried_from=tried_from,
        ambiguous=_ambiguous_nodes(survey_network, found),
    )


def _ambiguous_nodes(survey_network: SurveyNetwork, found: list[tuple[float, Float]]) -> set[str]:
    """Return the nodes that solutions as good as the first, best one put elsewhere."""
    best = survey_network.network.positions(found[0][1])
    names, ambiguous = survey_network.names, set[str]()
    for cost, unknowns in found[1:]:
        if cost < found[0][0] + AMBIGUOUS_COST:
            away = np.linalg.norm(survey_network.network.positions(unknowns) - best, axis=1)
            ambiguous |= {names[k] for k in np.flatnonzero(away > DISTINCT_M)}
    return ambiguous


def _search_from(
    survey_network: SurveyNetwork, start: _Start
) -> tuple[Adjustment, tuple[Blunder, ...]]:
    """Return the adjustment from the start that leaves the fewest observations aside."""
    suspects = ~survey_network.assumed
    network = orient_perpendiculars(
        survey_network.network, survey_network.network.positions(start.unknowns)
    )
    found = [search_blunders(network, start.unknowns, suspects=suspects)]
    if len(found[0][1]) > FEW_BLUNDERS and suspects.sum() <= MOST_TRIED:
        unknowns, aside = likeliest_blunder(network, start.unknowns, suspects)
        found.append(search_blunders(network, unknowns, suspects=suspects, aside=aside))
    if len(found[0][1]) > FEW_BLUNDERS:
        for one in (*start.tried_from, start.unknowns):
            turned = orient_perpendiculars(
                survey_network.network, survey_network.network.positions(one)
            )
            unknowns = robust_unknowns(turned, one)
            aside = gross_observations(turned, unknowns, suspects)
            found.append(search_blunders(turned, unknowns, suspects=suspects, aside=aside))
    return min(
        found,
        key=lambda one: len(one[1]) + len(describe_contradictions(survey_network, one[0], set())),
    )


def _approximate_heights(survey_network: SurveyNetwork) -> Float:
    """Return each node's height in metres: as read, shared or usual."""
    usual = [one.value for one in survey_network.observations if one.kind == "height"]
    heights_m = node_heights(
        survey_network.network.observations,
        survey_network.network.n_nodes,
        usual_m=usual[0] if usual else USUAL_HEIGHT_M,
    )
    return _share_edge_heights(survey_network, heights_m)


def _share_edge_heights(survey_network: SurveyNetwork, heights_m: Float) -> Float:
    """Give the edges that share their tweeter's height that height, and walls the floor's."""
    heights_m = heights_m.copy()
    for side, cabinet in survey_network.survey.cabinets.items():
        source = "tweeter" if cabinet.edges is None else "inner"
        for part in ("inner", "outer"):
            heights_m[survey_network.node[f"{side} {part}"]] = heights_m[
                survey_network.node[f"{side} {source}"]
            ]
    return heights_m


def _straight_wall_nodes(survey_network: SurveyNetwork) -> set[int]:
    """Return the nodes of straight walls that are found from observations to them."""
    return {
        survey_network.node[name]
        for name in survey_network.node
        if name.endswith((" wall a", " wall b"))
    }


def _observations_before_walls(survey_network: SurveyNetwork) -> list[NetworkObservation]:
    """Return the observations that can place points before the straight walls are known.

    An observation taken twice counts once: two equal circles cross nowhere, or everywhere.
    """
    hidden = _straight_wall_nodes(survey_network)
    kept: list[NetworkObservation] = []
    for one in survey_network.network.observations:
        twins = (
            other
            for other in kept
            if other.kind == one.kind
            and _join_same_nodes(other, one)
            and abs(other.value - one.value) < REPEAT_SIGMAS * one.std
        )
        if not hidden.intersection(one.nodes) and next(twins, None) is None:
            kept.append(one)
    return kept


def _join_same_nodes(one: NetworkObservation, other: NetworkObservation) -> bool:
    """Tell whether two observations of a kind join the same points; a distance has no sense."""
    if one.kind == "distance":
        return sorted(one.nodes) == sorted(other.nodes)
    return one.nodes == other.nodes


def _tweeter_distances(survey_network: SurveyNetwork) -> list[NetworkObservation]:
    """Return the distances that follow from a tweeter's place between two edges."""
    links = []
    for side in SIDES:
        cabinet = survey_network.survey.cabinets[side]
        inner, outer, tweeter = (
            survey_network.node[f"{side} {p}"] for p in ("inner", "outer", "tweeter")
        )
        widths = [
            one.value
            for one in survey_network.network.observations
            if one.kind == "distance" and set(one.nodes) == {inner, outer}
        ]
        if widths and cabinet.edges is None:
            width = widths[0]
            ends = ((inner, cabinet.from_inner), (outer, 1 - cabinet.from_inner))
            links += [
                NetworkObservation(
                    kind="distance", nodes=(node, tweeter), value=width * share, std=0.01
                )
                for node, share in ends
            ]
    return links


def _place_straight_walls(survey_network: SurveyNetwork, plan: Float) -> Float:
    """Lay the straight walls where the observations to them put them on average."""
    plan = plan.copy()
    for name, parts in survey_network.segments.items():
        first, second = parts[0][0], parts[-1][1]
        if first not in _straight_wall_nodes(survey_network):
            continue
        axis = 1 if name in ("front", "rear") else 0
        sign = -1.0 if name in ("front", "left") else 1.0
        places = [
            plan[one.nodes[0], axis] + sign * one.value
            for one in survey_network.network.observations
            if one.kind == "perpendicular" and one.nodes[1:] == (first, second)
        ]
        if places:
            plan[[first, second], axis] = np.mean(places)
    return plan


def _nearest_unknowns(network: Network, positions_m: Float) -> Float:
    """Return the unknowns that bring the nodes nearest to given places."""
    right = positions_m.ravel() - network.constant_m
    if network.dense_map is not None:
        return np.asarray(np.linalg.lstsq(network.dense_map, right, rcond=None)[0])
    node_map = network.node_map
    return np.asarray(splu((node_map.T @ node_map).tocsc()).solve(node_map.T @ right))


def _misfit_cost(network: Network, unknowns: Float, layout: Layout) -> float:
    """Return how badly a solution fits observations and statements."""
    positions_m = network.positions(unknowns)
    misfit = (network.value - fitted_values(network, positions_m)) / network.std
    cost = float(np.minimum(misfit**2, MOST_SOLUTION_COST).sum())
    place = np.vstack([positions_m, np.zeros(3)])
    for constraint in layout.constraints:
        cost += SOLUTION_CONSTRAINT_COST * float(
            place[constraint.lower, constraint.axis] > place[constraint.higher, constraint.axis]
        )
    return cost
