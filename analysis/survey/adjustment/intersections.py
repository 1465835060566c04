"""Where observations to known places say that a point lies in plan, and where these intersect.

Conventions: plans have the shape (n_plans, n_nodes, 2), so that a point is placed in many
plans at once. A distance is a circle; a perpendicular two parallel lines; an offset along a
line, and an equal distance from two points, a line.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.network import NetworkObservation

PlanObservation = tuple[str, tuple[int, ...], float]
"""Kind, the other nodes, and the value in plan."""

Curve = tuple[str, Float, Float, Float]
"""``circle``: centre, radius; ``line``: a point on it and, last, its direction."""


def observations_by_node(
    observations: Sequence[NetworkObservation], heights_m: Float
) -> list[list[PlanObservation]]:
    """Return for each node what can place it in plan."""
    by_node: list[list[PlanObservation]] = [[] for _ in range(heights_m.size)]
    for one in observations:
        nodes = one.nodes
        if one.kind == "distance":
            rise = heights_m[nodes[0]] - heights_m[nodes[1]]
            value = float(np.sqrt(max(one.value**2 - rise**2, 0.0)))
            by_node[nodes[0]].append(("distance", (nodes[1],), value))
            by_node[nodes[1]].append(("distance", (nodes[0],), value))
        elif one.kind in ("perpendicular", "along"):
            by_node[nodes[0]].append((one.kind, nodes[1:], one.value))
        elif one.kind == "equal" and one.value == 0:
            for node in set(nodes[:2]) & set(nodes[2:]):
                ends = tuple(other for other in nodes if other != node)
                if len(ends) == 2:
                    by_node[node].append(("equal", ends, 0.0))
    return by_node


def observation_curves(plans: Float, observation: PlanObservation) -> list[Curve]:
    """Return on which circle or lines an observation says that its node lies, in each plan."""
    kind, others, value = observation
    if kind == "distance":
        centre = plans[:, others[0]]
        return [("circle", centre, np.full(len(plans), value), centre)]
    first, second = plans[:, others[0]], plans[:, others[1]]
    line = second - first
    unit = line / np.maximum(np.linalg.norm(line, axis=1, keepdims=True), 1e-9)
    across = np.stack([unit[:, 1], -unit[:, 0]], axis=1)
    nothing = np.zeros(len(plans))
    if kind == "equal":
        return [("line", (first + second) / 2, nothing, across)]
    if kind == "along":
        return [("line", first + value * unit, nothing, across)]
    offsets = (value, -value) if value else (0.0,)
    return [("line", first + offset * across, nothing, unit) for offset in offsets]


def distances_to_curves(curves: list[Curve], places: Float) -> Float:
    """Return how far places, shape (n_plans, n_places, 2), lie from an observation's curves."""
    off = []
    for kind, point, radius, direction in curves:
        away = places - point[:, None]
        if kind == "circle":
            off.append(np.abs(np.hypot(away[..., 0], away[..., 1]) - radius[:, None]))
        else:
            across = away[..., 0] * direction[:, None, 1] - away[..., 1] * direction[:, None, 0]
            off.append(np.abs(across))
    return np.asarray(np.min(off, axis=0))


def intersections(first: list[Curve], second: list[Curve]) -> Float:
    """Return where the curves of two observations intersect, or come nearest.

    Returns
    -------
    ndarray, shape (n_plans, n_places, 2)

    Examples
    --------
    Circles of 3 and 4 about places 5 apart: 9/5 along, 12/5 to either side.

    >>> plans = np.array([[[0.0, 0.0], [5.0, 0.0]]])
    >>> first = observation_curves(plans, ("distance", (0,), 3.0))
    >>> second = observation_curves(plans, ("distance", (1,), 4.0))
    >>> intersections(first, second)
    array([[[ 1.8, -2.4],
            [ 1.8,  2.4]]])
    """
    found = []
    for one in first:
        for other in second:
            if one[0] == "circle" and other[0] == "circle":
                found.append(_intersect_circles(one, other))
            elif one[0] == "line" and other[0] == "line":
                found.append(_intersect_lines(one, other))
            else:
                circle, line = (one, other) if one[0] == "circle" else (other, one)
                found.append(_intersect_circle_and_line(circle, line))
    return np.concatenate(found, axis=1)


def _intersect_circles(first: Curve, second: Curve) -> Float:
    """Return both intersections of two circles, shape (n_plans, 2, 2)."""
    between = second[1] - first[1]
    length = np.maximum(np.linalg.norm(between, axis=1), 1e-9)
    unit = between / length[:, None]
    along = (length**2 + first[2] ** 2 - second[2] ** 2) / (2 * length)
    along = np.clip(along, -first[2], first[2])
    height = np.sqrt(np.maximum(first[2] ** 2 - along**2, 0.0))
    across = np.stack([unit[:, 1], -unit[:, 0]], axis=1) * height[:, None]
    foot = first[1] + along[:, None] * unit
    return np.stack([foot + across, foot - across], axis=1)


def _intersect_circle_and_line(circle: Curve, line: Curve) -> Float:
    """Return both intersections of a circle and a line, shape (n_plans, 2, 2)."""
    unit = line[3]
    foot = line[1] + np.einsum("ij,ij->i", circle[1] - line[1], unit)[:, None] * unit
    gap = np.linalg.norm(circle[1] - foot, axis=1)
    half = np.sqrt(np.maximum(circle[2] ** 2 - gap**2, 0.0))[:, None] * unit
    return np.stack([foot + half, foot - half], axis=1)


def _intersect_lines(first: Curve, second: Curve) -> Float:
    """Return the intersection of two lines, shape (n_plans, 1, 2); far off where parallel."""
    unit, other = first[3], second[3]
    cross = unit[:, 0] * other[:, 1] - unit[:, 1] * other[:, 0]
    away = second[1] - first[1]
    cross = np.where(np.abs(cross) < 1e-6, 1e-6, cross)
    share = (away[:, 0] * other[:, 1] - away[:, 1] * other[:, 0]) / cross
    return (first[1] + share[:, None] * unit)[:, None]
