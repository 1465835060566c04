r"""What an observation of each kind would be between given places, and how it changes with them.

Conventions: places in metres, z up; *plan* means x and y alone. For a distance d between two
nodes with the unit vector u from the first to the second the derivatives are -u and u; those of
lines and angles follow in plan the same way.

References
----------
C. D. Ghilani, "Adjustment Computations", 5th ed., Wiley 2010, ch. 14 (the distance) and
15 (the angle): the partial derivatives (from memory).
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np

from analysis.basics.arrays import Float

Kind = Literal["distance", "perpendicular", "along", "height", "equal", "angle"]

N_NODES: Final[dict[Kind, int]] = {
    "distance": 2,
    "perpendicular": 3,
    "along": 3,
    "height": 1,
    "equal": 4,
    "angle": 3,
}
"""How many nodes an observation of each kind joins."""

_TINY_M: Final = 1e-9
"""Added under roots, so that two nodes at one place have a derivative."""


def observe(kind: Kind, ends: Float, sign: Float) -> tuple[Float, Float]:
    """Return what observations of one kind would be, and their derivatives by the nodes.

    Parameters
    ----------
    ends : ndarray, shape (n, n_ends, 3)
        Places of the nodes of each observation, in metres.
    sign : ndarray, shape (n,)
        1 or -1, of perpendiculars.

    Returns
    -------
    values : ndarray, shape (n,)
    slopes : ndarray, shape (n, n_ends, 3)

    Examples
    --------
    The sides 3, 4 and 5: a distance, the offset of a point from a wall along x, and the right
    angle at the corner.

    >>> a, corner, b = np.array([[3.0, 0, 0], [0, 0, 0], [0, 4.0, 0]])
    >>> observe("distance", np.array([[a, b]]), np.ones(1))[0].round(9)
    array([5.])
    >>> observe("perpendicular", np.array([[b, corner, a]]), -np.ones(1))[0].round(9)
    array([4.])
    >>> observe("angle", np.array([[a, corner, b]]), np.ones(1))[0] * (180 / np.pi)
    array([90.])
    """
    if kind == "distance":
        return _observe_distance(ends)
    if kind == "perpendicular":
        return _observe_perpendicular(ends, sign)
    if kind == "along":
        return _observe_along(ends)
    if kind == "height":
        slopes = np.zeros(ends.shape)
        slopes[:, 0, 2] = 1.0
        return ends[:, 0, 2], slopes
    if kind == "equal":
        first, first_slopes = _observe_distance(ends[:, :2])
        second, second_slopes = _observe_distance(ends[:, 2:])
        return first - second, np.concatenate([first_slopes, -second_slopes], axis=1)
    return _observe_angle(ends)


def _observe_distance(ends: Float) -> tuple[Float, Float]:
    """Return the distance of two nodes in space."""
    step = ends[:, 1] - ends[:, 0]
    length = np.sqrt(np.einsum("ij,ij->i", step, step) + _TINY_M**2)
    unit = step / length[:, None]
    return length, np.stack([-unit, unit], axis=1)


def _measure_line(ends: Float) -> tuple[Float, Float, Float]:
    """Return length, direction and the first node's place from the line's first node."""
    line = ends[:, 2, :2] - ends[:, 1, :2]
    length = np.sqrt(np.einsum("ij,ij->i", line, line) + _TINY_M**2)
    return length, line / length[:, None], ends[:, 0, :2] - ends[:, 1, :2]


def _observe_perpendicular(ends: Float, sign: Float) -> tuple[Float, Float]:
    """Return the distance in plan from a line, positive on the side that `sign` says."""
    length, unit, place = _measure_line(ends)
    across = np.stack([unit[:, 1], -unit[:, 0]], axis=1)
    offset = np.einsum("ij,ij->i", place, across)
    share = np.einsum("ij,ij->i", place, unit) / length
    slopes = np.zeros(ends.shape)
    slopes[:, 0, :2] = across
    slopes[:, 1, :2] = -(1 - share)[:, None] * across
    slopes[:, 2, :2] = -share[:, None] * across
    return sign * offset, sign[:, None, None] * slopes


def _observe_along(ends: Float) -> tuple[Float, Float]:
    """Return how far along a line a node's foot lies."""
    length, unit, place = _measure_line(ends)
    across = np.stack([unit[:, 1], -unit[:, 0]], axis=1)
    turn = (np.einsum("ij,ij->i", place, across) / length)[:, None] * across
    slopes = np.zeros(ends.shape)
    slopes[:, 0, :2] = unit
    slopes[:, 1, :2] = -unit - turn
    slopes[:, 2, :2] = turn
    return np.einsum("ij,ij->i", place, unit), slopes


def _observe_angle(ends: Float) -> tuple[Float, Float]:
    """Return the angle in plan at the middle node."""
    first, second = ends[:, 0, :2] - ends[:, 1, :2], ends[:, 2, :2] - ends[:, 1, :2]
    cross = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    value = np.arctan2(cross, np.einsum("ij,ij->i", first, second))
    sign = np.where(value >= 0, 1.0, -1.0)
    slopes = np.zeros(ends.shape)
    for node, arm, turn in ((0, first, -sign), (2, second, sign)):
        square = np.einsum("ij,ij->i", arm, arm) + _TINY_M**2
        slopes[:, node, 0] = -turn * arm[:, 1] / square
        slopes[:, node, 1] = turn * arm[:, 0] / square
    slopes[:, 1] = -slopes[:, 0] - slopes[:, 2]
    return np.abs(value), slopes
