"""In which direction a mode swings, and along which wall it is loudest.

Conventions: those of `analysis.room.modes`. The *direction shares* of a mode are what length,
width and height have in its mean squared gradient; of a box's mode they are the shares of the
squared indices over the squared sides.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.room.modes import Modes
from analysis.room.room import Room

GRID_M: Final = 0.375
"""Spacing of the points at which gradients are taken: on average over the room the shares of
the modes below 150 Hz are right to some hundredths."""

_STEP_M: Final = 0.01
_GOLDEN: Final = 0.618034


def direction_shares(found: Modes) -> Float:
    """Return the share of length, width and height in each mode's squared gradient.

    Parameters
    ----------
    found : Modes

    Returns
    -------
    ndarray, shape (n - 1, 3)
        Without the uniform pressure; each row adds up to 1.
    """
    if found.indices is not None:
        room = found.room
        parts = (found.indices[1:] / [room.length_m, room.width_m, room.height_m]) ** 2
        return np.asarray(parts / parts.sum(axis=1, keepdims=True))
    at = _inner_points(found.room)
    squares = [_mean_square_step(found.shapes_at, at, axis) for axis in (1, 0, 2)]
    total = np.sum(squares, axis=0)
    return np.stack([square / total for square in squares], axis=1)


def loudest_walls(found: Modes) -> tuple[str, ...]:
    """Return the wall along which the mean squared pressure of each mode is greatest.

    Parameters
    ----------
    found : Modes

    Returns
    -------
    tuple of str
        Without the uniform pressure.
    """
    plan = found.room.plan
    areas_m2 = found.room.areas_m2()[: plan.n_walls, np.newaxis]
    on_walls = found.surface_weight_per_m[: plan.n_walls, 1:] / areas_m2
    return tuple(plan.wall_names[int(k)] for k in np.argmax(on_walls, axis=0))


def _inner_points(room: Room) -> Float:
    """Return points spread over the room, clear of its surfaces, shape (m, 3)."""
    from shapely import contains_xy

    inner = room.plan.polygon.buffer(-2 * _STEP_M)
    low_x, low_y, high_x, high_y = inner.bounds
    grid = np.stack(
        np.meshgrid(np.arange(low_x, high_x, GRID_M), np.arange(low_y, high_y, GRID_M)), axis=-1
    ).reshape(-1, 2)
    plan = np.repeat(grid[contains_xy(inner, grid[:, 0], grid[:, 1])], 2, axis=0)
    share = (np.arange(plan.shape[0]) * _GOLDEN) % 1.0  # spread evenly, in step with nothing
    clear_m = 2 * _STEP_M * (1 + abs(room.slope))
    return np.column_stack([plan, clear_m + share * (room.height_at(plan) - 2 * clear_m)])


def _mean_square_step(shapes_at: Callable[[Float], Float], at: Float, axis: int) -> Float:
    """Return how much each shape changes along an axis, mean square, shape (n - 1,)."""
    step = _STEP_M * np.eye(3)[axis]
    change = (shapes_at(at + step) - shapes_at(at - step))[:, 1:]
    return np.asarray(np.mean(change**2, axis=0))
