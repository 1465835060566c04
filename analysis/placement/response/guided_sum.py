r"""The sum of guided waves over the modes of a section, for many places at once.

Conventions: those of `analysis.placement.response.guided_waves`; points are (x, y, z), sources
run along the first axis, places along the second. The pressure of one place is a row of matrix
products

.. math:: p = Y \, (W \, G),

:math:`G` the guided waves of each mode. In general :math:`Y` has the modes' shapes at source and
seat and there is no :math:`W`. Where a pair slides along a rectangle, its distance from the side
walls stays: all modes of the same number of half waves along the length then share a row of
:math:`Y`, and :math:`W` sums them first. That is exact, and a tenth of the work.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Complex, Float, Mask
from analysis.placement.response.guided_waves import FrequencyBand, GuidedWaves
from analysis.room.plan_modes import PlanModes
from analysis.room.section import Section

FEWEST_IN_A_ROW: Final = 8
"""Rows of fewer places than this on average aren't worth summing first."""

_SAME_M: Final = 1e-6
_LEAST_SHAPE: Final = 1e-12
"""Shapes below this at all places (a seat on a node) are rounding."""

Indices = NDArray[np.int64]
WavesBetween = Callable[[float, float, Mask], GuidedWaves]
"""Takes the places of source and seat on the line, and which modes are wanted."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _SourceTerm:
    """What one source, or several alike, adds at a group of places."""

    source: int
    at_places: Float
    of_modes: Float | None


def sum_guided(
    flat: PlanModes,
    section: Section,
    sources_m: Float,
    seats_m: Float,
    *,
    waves_between: WavesBetween,
    band: FrequencyBand,
) -> Complex:
    """Return the pressure at each place.

    Parameters
    ----------
    flat : PlanModes
        Of the section.
    sources_m : ndarray, shape (n_sources, m, 3)
    seats_m : ndarray, shape (m, 3)
    waves_between : callable

    Returns
    -------
    ndarray of complex, shape (m, f)
    """
    points = np.concatenate([sources_m, seats_m[np.newaxis]])
    on_line = points[:, :, section.along].T
    across = points[:, :, list(section.across)]
    n_places = seats_m.shape[0]
    wanted = np.ones(flat.wavenumber_rad_m.size, dtype=bool)
    labels, in_rows = _label_rows(on_line), False
    if flat.factor_at is not None and n_places >= FEWEST_IN_A_ROW:
        rows = _label_rows(np.hstack([on_line, across[:, :, 0].T]))
        if (int(rows.max()) + 1) * FEWEST_IN_A_ROW <= n_places:
            labels, in_rows = rows, True
            wanted = _modes_with_shape(flat, across[:, np.unique(rows, return_index=True)[1]])
    kept: dict[tuple[float, float], GuidedWaves] = {}
    result = np.empty((n_places, band.wavenumber_rad_m.size), dtype=np.complex128)
    for group in _group_places(labels):
        line = on_line[group[0]]
        for source in range(line.size - 1):
            ends = (float(line[source]), float(line[-1]))
            if ends not in kept:
                kept[ends] = waves_between(*ends, wanted)
        make = _terms_by_row if in_rows else _terms_by_mode
        parts = make(flat, across[:, group], line, wanted)
        waves = [kept[float(line[part.source]), float(line[-1])] for part in parts]
        factors = [_matrix_factors(part, one, band) for part, one in zip(parts, waves, strict=True)]
        left, right = (np.concatenate(side, axis) for axis, side in _factors_by_axis(factors))
        if n_places == group.size:
            np.matmul(left, right, out=result.view(np.float64))
        else:
            result[group] = (left @ right).view(np.complex128)
    return result


def _factors_by_axis(factors: list[tuple[Float, Float]]) -> list[tuple[int, list[Float]]]:
    """Return the left and the right factors, with the axis along which they are joined."""
    return [(1, [left for left, _ in factors]), (0, [right for _, right in factors])]


def _label_rows(columns: Float) -> Indices:
    """Return the same number, from 0 on, for rows that are alike, shape (m,)."""
    if np.all(np.abs(columns - columns[0]) < _SAME_M):
        return np.zeros(columns.shape[0], dtype=np.int64)
    steps = np.round(columns / _SAME_M).astype(np.int64)
    return np.asarray(np.unique(steps, axis=0, return_inverse=True)[1].ravel(), dtype=np.int64)


def _group_places(labels: Indices) -> list[Indices]:
    """Return the places of each label."""
    order = np.argsort(labels, kind="stable")
    return list(np.split(order, np.cumsum(np.bincount(labels))[:-1]))


def _modes_with_shape(flat: PlanModes, across_m: Float) -> Mask:
    """Return which modes have a shape at all, at rows given by one place each."""
    assert flat.factor_at is not None
    widths = np.stack([flat.factor_at(one[:, 0], 0) for one in across_m])
    strong = np.abs(widths[:-1] * widths[-1]).max(axis=(0, 1)) > _LEAST_SHAPE
    return np.asarray(strong[flat.indices[:, 1]])


def _terms_by_mode(flat: PlanModes, across_m: Float, line: Float, _: Mask) -> list[_SourceTerm]:
    """Return the shapes at source and seat, mode by mode."""
    at_seat = _shapes_at(flat, across_m[-1])
    parts: dict[float, _SourceTerm] = {}
    for k, one in enumerate(across_m[:-1]):
        shape = at_seat * _shapes_at(flat, one)
        if (known := parts.get(float(line[k]))) is not None:
            shape = shape + known.at_places
        parts[float(line[k])] = _SourceTerm(source=k, at_places=shape, of_modes=None)
    return list(parts.values())


def _shapes_at(flat: PlanModes, points_m: Float) -> Float:
    """Return the shapes at points of which many are the same, shape (m, n)."""
    points, which = np.unique(points_m, axis=0, return_inverse=True)
    return np.asarray(flat.shapes_at(points)[which.ravel()])


def _terms_by_row(flat: PlanModes, across_m: Float, line: Float, wanted: Mask) -> list[_SourceTerm]:
    """Return the shapes along the length, and what each mode of a kind weighs across it."""
    assert flat.factor_at is not None
    n_length, n_width = flat.indices[wanted].T
    widths = flat.factor_at(across_m[:, 0, 0], 0)
    at_seat = _factors_along_length(flat, across_m[-1, :, 1])
    parts: dict[tuple[float, bytes], _SourceTerm] = {}
    for k, one in enumerate(across_m[:-1]):
        key = (float(line[k]), one[:, 1].tobytes())
        known = parts.get(key)
        if known is None or known.of_modes is None:
            of_modes = np.zeros((at_seat.shape[1], n_length.size))
            known = _SourceTerm(
                source=k,
                at_places=_factors_along_length(flat, one[:, 1]) * at_seat,
                of_modes=of_modes,
            )
            parts[key] = known
        both = (widths[k] * widths[-1])[n_width]
        known.of_modes[n_length, np.arange(n_length.size)] += both  # type: ignore[index]
    return list(parts.values())


def _factors_along_length(flat: PlanModes, places_m: Float) -> Float:
    """Return the shapes' factors along the length; many places are the same."""
    assert flat.factor_at is not None
    places, which = np.unique(places_m, return_inverse=True)
    return np.asarray(flat.factor_at(places, 1)[which])


def _matrix_factors(
    part: _SourceTerm, waves: GuidedWaves, band: FrequencyBand
) -> tuple[Float, Float]:
    """Return two matrices whose product is a part's pressure, real and imaginary by turns.

    The left one has a row for each place, the right one two columns for each frequency.
    """
    resonant, rest = waves.resonant.view(np.float64), waves.rest.view(np.float64)
    spread = np.zeros((*band.spread.shape, 2, 2))
    spread[..., 0, 0] = spread[..., 1, 1] = band.spread
    spread = spread.transpose(0, 2, 1, 3).reshape(2 * band.spread.shape[0], -1)
    n = resonant.shape[0]
    if part.of_modes is None:
        left = np.hstack([part.at_places[:, :n], part.at_places @ rest])
        return left, np.vstack([resonant, spread])
    weights = part.of_modes
    return part.at_places, weights[:, :n] @ resonant + (weights @ rest) @ spread
