r"""Where the points of a network stand roughly, from the observations alone.

Heights come first. Then the points are laid out in plan one after the other: each where the
observations to points already placed intersect, as circles (distances) and lines
(perpendiculars, offsets, equal distances). Two circles intersect in two places, mirror images in
the line of their centres; both are followed, in up to `MOST_PLANS` plans side by side, and the
plans that fit the other observations and the *constraints* (this one stands left, that one in
front) are kept. A wrong observation spoils only some of the intersections: each place is judged
by all observations to it, and how much a single one can speak against it is limited.

Conventions: plans have the shape (n_plans, n_nodes, 2); not placed is NaN.

References
----------
The law of cosines; J. W. Tukey's rule of not letting one observation decide (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.intersections import (
    PlanObservation,
    distances_to_curves,
    intersections,
    observation_curves,
    observations_by_node,
)
from analysis.survey.adjustment.network import NetworkObservation

MOST_PLANS: Final = 16
"""Four undecided mirror images at a time. Common practice, no source."""

ROUGH_STD_M: Final = 0.01
"""How well observations must fit while points are placed: noise adds up from point to point."""

MOST_PLACE_COST: Final = 25.0
"""How much a single observation may speak against a place, in squared sigmas: five sigmas."""

PLACE_CONSTRAINT_COST: Final = 200.0
"""How much it costs to stand where the person said that it doesn't."""

MOST_INTERSECTED: Final = 5
"""Of a point's observations, the nearest this many are crossed in pairs."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SideConstraint:
    """What the person said of where nodes stand, in the datum's frame.

    Attributes
    ----------
    lower, higher : int
        Nodes: the first has the smaller coordinate. -1 stands for the origin.
    axis : int
        0: x, to the right; 1: y, toward the rear.
    """

    lower: int
    higher: int
    axis: int


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Layout:
    """What the search for places starts from.

    Attributes
    ----------
    usual_m : ndarray, shape (n_nodes, 2)
        Usual places in the datum's frame, for what the observations leave open.
    fixed_nodes : tuple of int
        Nodes whose places in the datum's frame are those of `usual_m`.
    origin, ahead : tuple of int
        The datum: the mean of the first nodes is the origin, that of the second lies on the
        positive y axis. Where `ahead` is empty, the y axis stands across the line from the
        first to the second of `origin`.
    """

    usual_m: Float
    fixed_nodes: tuple[int, ...]
    origin: tuple[int, ...]
    ahead: tuple[int, ...]
    constraints: tuple[SideConstraint, ...]


def node_heights(
    observations: Sequence[NetworkObservation], n_nodes: int, *, usual_m: float
) -> Float:
    """Return each node's height in metres: as read, else the usual one."""
    heights_m = np.full(n_nodes, np.nan)
    for one in observations:
        if one.kind == "height":
            heights_m[one.nodes[0]] = one.value
    return np.where(np.isnan(heights_m), usual_m, heights_m)


def approximate_plans(
    observations: Sequence[NetworkObservation], heights_m: Float, layout: Layout
) -> list[tuple[Float, float]]:
    """Return rough plans of a network, the likeliest first.

    Parameters
    ----------
    heights_m : ndarray, shape (n_nodes,)

    Returns
    -------
    list of (ndarray, float)
        Places in the datum's frame in metres, shape (n_nodes, 2), every node placed, and how
        much observations and statements speak against them, in squared sigmas.
    """
    search = _Search(observations, heights_m, layout)
    while search.place_next():
        pass
    order = np.argsort(search.cost, kind="stable")
    return [(search.plans[index], float(search.cost[index])) for index in order]


class _Search:
    """The plans so far; `place_next` places one more node in all of them."""

    def __init__(
        self, observations: Sequence[NetworkObservation], heights_m: Float, layout: Layout
    ) -> None:
        self.layout = layout
        self.observations = observations_by_node(observations, heights_m)
        n_nodes = heights_m.size
        self.plans = np.full((1, n_nodes, 2), np.nan)
        self.cost = np.zeros(1)
        self.placed: set[int] = set()
        self.aligned = False
        self._place_first_two()

    def _place_first_two(self) -> None:
        """Place the two nodes that most observations meet, of those a distance joins."""
        best, pair = -1.0, (0, 0, 0.0)
        for node, observations in enumerate(self.observations):
            for kind, others, value in observations:
                if kind == "distance" and node < others[0]:
                    met = (
                        len(observations) + len(self.observations[others[0]]) + min(value, 5.0) / 10
                    )
                    if met > best:
                        best, pair = met, (node, others[0], value)
        if best < 0:
            self._align()
            return
        self.plans[0, pair[0]] = 0.0
        self.plans[0, pair[1]] = (0.0, pair[2])
        self.placed |= {pair[0], pair[1]}
        self._align_if_possible()

    def place_next(self) -> bool:
        """Place the node that most observations to placed ones meet; False when all are."""
        left = [node for node in range(len(self.observations)) if node not in self.placed]
        if not left:
            if not self.aligned:
                self._align()
            return False
        usable = {node: self._usable_observations(node) for node in left}
        node = max(left, key=lambda one: (min(len(usable[one]), 3), len(self.observations[one])))
        observations = usable[node]
        if len(observations) < 2 and not self.aligned:
            self._align()
            return True
        if len(observations) >= 2:
            self._place_at_intersections(node, observations)
        else:
            self.plans[:, node] = self._usual_places(node, observations)
            self._charge_constraints(node)
        self.placed.add(node)
        self._align_if_possible()
        return True

    def _usable_observations(self, node: int) -> list[PlanObservation]:
        """Return a node's observations whose other ends are placed."""
        return [one for one in self.observations[node] if self.placed.issuperset(one[1])]

    def _usual_places(self, node: int, observations: list[PlanObservation]) -> Float:
        """Return the usual place, as near to it as a single observation allows."""
        guess = self.layout.usual_m[node]
        if not observations or observations[0][0] != "distance":
            return np.broadcast_to(guess, self.plans[:, node].shape)
        _, (other,), value = observations[0]
        away = guess - self.plans[:, other]
        length = np.linalg.norm(away, axis=1, keepdims=True)
        return np.asarray(self.plans[:, other] + away / np.maximum(length, 1e-6) * value)

    def _place_at_intersections(self, node: int, observations: list[PlanObservation]) -> None:
        """Follow each plan with the one or two places at which the observations fit best."""
        curves = [observation_curves(self.plans, one) for one in observations]
        nearest = sorted(range(len(curves)), key=lambda k: observations[k][2])[:MOST_INTERSECTED]
        places = np.concatenate(
            [intersections(curves[a], curves[b]) for a, b in combinations(nearest, 2)], axis=1
        )
        misfit = (
            np.stack([distances_to_curves(curve, places) for curve in curves], axis=2) / ROUGH_STD_M
        )
        cost = np.minimum(misfit**2, MOST_PLACE_COST).sum(axis=2)
        first = cost.argmin(axis=1)
        rows = np.arange(len(self.plans))
        apart = np.linalg.norm(places - places[rows, first][:, None], axis=2)
        second = np.where(apart > 3 * ROUGH_STD_M, cost, np.inf).argmin(axis=1)
        # Until the datum is laid down the first of all mirror images stands for both.
        is_first = not self.aligned and len(self.placed) == 2
        is_other = (apart[rows, second] > 3 * ROUGH_STD_M) & (not is_first)
        plans = np.concatenate([self.plans, self.plans[is_other]])
        plans[: len(rows), node] = places[rows, first]
        plans[len(rows) :, node] = places[rows, second][is_other]
        self.plans = plans
        self.cost = np.concatenate(
            [self.cost + cost[rows, first], (self.cost + cost[rows, second])[is_other]]
        )
        self._charge_constraints(node)
        self._keep_best()

    def _keep_best(self) -> None:
        """Keep the best plans."""
        order = np.argsort(self.cost, kind="stable")[:MOST_PLANS]
        self.plans, self.cost = self.plans[order], self.cost[order]

    def _charge_constraints(self, *nodes: int) -> None:
        """Charge plans for nodes that stand where they were said not to."""
        if not self.aligned:
            return
        for constraint in self.layout.constraints:
            if (constraint.lower in nodes or constraint.higher in nodes) and self.placed.union(
                nodes, {-1}
            ).issuperset((constraint.lower, constraint.higher)):
                self.cost = self.cost + PLACE_CONSTRAINT_COST * _violations(self.plans, constraint)

    def _align_if_possible(self) -> None:
        """Go to the datum's frame once its nodes are placed."""
        needed = {*self.layout.origin, *self.layout.ahead}
        if not self.aligned and needed and self.placed.issuperset(needed):
            self._align()

    def _align(self) -> None:
        """Turn the plans into the datum's frame, and follow their mirror images too."""
        placed = sorted(self.placed)
        if placed and self.placed.issuperset({*self.layout.origin, *self.layout.ahead}):
            self.plans = _turn_into_datum(self.plans, self.layout)
            self.plans = np.concatenate([self.plans, self.plans * (-1.0, 1.0)])
            if not self.layout.ahead:
                self.plans = np.concatenate([self.plans, self.plans * (1.0, -1.0)])
            self.cost = np.tile(self.cost, len(self.plans) // self.cost.size)
        elif placed:
            self.plans = _fit_to_usual(self.plans, self.layout.usual_m, placed)
            self.cost = np.tile(self.cost, 2)
        for node in self.layout.fixed_nodes:
            self.plans[:, node] = self.layout.usual_m[node]
            self.placed.add(node)
        self.aligned = True
        self._charge_constraints(*self.placed)
        self._keep_best()


def _violations(plans: Float, constraint: SideConstraint) -> Float:
    """Return 1 for each plan in which a statement doesn't hold, else 0."""
    lower = 0.0 if constraint.lower < 0 else plans[:, constraint.lower, constraint.axis]
    higher = 0.0 if constraint.higher < 0 else plans[:, constraint.higher, constraint.axis]
    return np.asarray(lower > higher, dtype=np.float64)


def _turn_into_datum(plans: Float, layout: Layout) -> Float:
    """Return the plans moved and turned into the datum's frame."""
    origin = plans[:, layout.origin].mean(axis=1)
    if layout.ahead:
        ahead = plans[:, layout.ahead].mean(axis=1) - origin
    else:
        line = plans[:, layout.origin[1]] - plans[:, layout.origin[0]]
        ahead = np.stack([-line[:, 1], line[:, 0]], axis=1)
    unit = ahead / np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-9)
    away = plans - origin[:, None]
    x = away[..., 0] * unit[:, None, 1] - away[..., 1] * unit[:, None, 0]
    y = away[..., 0] * unit[:, None, 0] + away[..., 1] * unit[:, None, 1]
    return np.stack([x, y], axis=2)


def _fit_to_usual(plans: Float, usual_m: Float, placed: list[int]) -> Float:
    """Return the plans, and their mirror images, laid over the usual places."""
    fitted = []
    target = usual_m[placed]
    middle = target.mean(axis=0)
    for mirror in (1.0, -1.0):
        for plan in plans * (mirror, 1.0):
            centre = plan[placed].mean(axis=0)
            u, _, vt = np.linalg.svd((plan[placed] - centre).T @ (target - middle))
            turn = u @ np.diag([1.0, np.sign(np.linalg.det(u @ vt))]) @ vt
            fitted.append((plan - centre) @ turn + middle)
    return np.array(fitted)
