r"""Modes of a room of any floor plan: what rigid walls, floor and ceiling let ring.

Conventions: those of `analysis.room.space`. Shapes have a mean square of 1 over the volume, so
every mode enters the sum with the factor 1, and the uniform pressure is the first mode. Where a
room has a section (`analysis.room.section`: the floor plan under a level ceiling) a mode is one
of the section times :math:`\cos(n \pi z / H)` along the line of length :math:`H`:

.. math:: k^2 = \kappa^2 + (n \pi / H)^2.

*Surface weight* is the integral of the squared shape over a surface divided by that over the
volume, in 1/m. Indices are those of `analysis.room.modes`: length, width, height, for boxes only.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from analysis.basics.arrays import Float, freeze
from analysis.room.modes import KINDS
from analysis.room.plan_modes import ERROR_PERCENT, PlanModes, plan_modes
from analysis.room.section import Section, section_of
from analysis.room.sloped_modes import sloped_modes
from analysis.room.space import Space

MOST_MODES: Final = 20_000
"""More than this is a wrong frequency limit, not a bass question."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SpaceModes:
    """Modes of a room by rising frequency.

    Attributes
    ----------
    space : Space
    wavenumber_rad_m : ndarray, shape (n,)
        The first is 0, the uniform pressure.
    surface_weight_per_m : ndarray, shape (n_surfaces, n)
        In the order of `Space.surfaces`.
    kinds : tuple of str
        ``uniform``; of a box ``axial``, ``tangential``, ``oblique``; of another plan under a
        level ceiling ``plan`` (alike at all heights), ``vertical`` (alike all over the plan) or
        ``mixed``; under a sloped ceiling ``sloped``.
    indices : ndarray of int or None, shape (n, 3)
        Half waves along length, width and height of a box.
    error_percent : float
        Stated error of the frequencies; 0 for a closed form.
    shapes_at : callable
        Takes points, shape (m, 3), returns shapes, shape (m, n).
    """

    space: Space
    wavenumber_rad_m: Float
    surface_weight_per_m: Float
    kinds: tuple[str, ...]
    indices: Any
    error_percent: float
    shapes_at: Callable[[Float], Float]

    def __post_init__(self) -> None:
        for name, ndim in (("wavenumber_rad_m", 1), ("surface_weight_per_m", 2)):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name, ndim=ndim))

    def frequency_hz(self, *, speed_of_sound_m_s: float) -> Float:
        """Return the modes' frequencies in Hz, shape (n,)."""
        return np.asarray(self.wavenumber_rad_m * speed_of_sound_m_s / (2 * math.pi))


def space_modes(
    space: Space,
    highest_hz: float,
    *,
    speed_of_sound_m_s: float,
    error_percent: float = ERROR_PERCENT,
) -> SpaceModes:
    """Return all modes of a room up to a frequency, the uniform pressure first.

    Parameters
    ----------
    space : Space
    highest_hz : float
        Above 0.
    speed_of_sound_m_s : float
    error_percent : float
        What the frequencies may be off by.

    Returns
    -------
    SpaceModes

    Raises
    ------
    ValueError
        If the limit isn't above 0, or the room too large for it.
    """
    if not 0 < highest_hz < math.inf:
        msg = f"highest_hz {highest_hz} must lie above 0"
        raise ValueError(msg)
    highest_rad_m = 2 * math.pi * highest_hz / speed_of_sound_m_s
    if space.volume_m3 * highest_rad_m**3 / (6 * math.pi**2) > MOST_MODES:
        msg = f"highest_hz {highest_hz} means over {MOST_MODES} modes: ask less high"
        raise ValueError(msg)
    section = section_of(space)
    if section is not None:
        flat = plan_modes(section.outline, highest_rad_m, error_percent=error_percent)
        return _of_section(space, section, flat, highest_rad_m)
    wavenumber, weights, shapes_at, found_percent = sloped_modes(
        space, highest_rad_m, error_percent=error_percent
    )
    return SpaceModes(
        space=space,
        wavenumber_rad_m=wavenumber,
        surface_weight_per_m=weights,
        kinds=_sloped(wavenumber.size),
        indices=None,
        error_percent=found_percent,
        shapes_at=shapes_at,
    )


def _of_section(
    space: Space, section: Section, flat: PlanModes, highest_rad_m: float
) -> SpaceModes:
    """Return the modes that those of a section make with cosines along the line."""
    length_m = section.length_m
    along = np.arange(math.floor(highest_rad_m * length_m / math.pi) + 1)
    square = flat.wavenumber_rad_m[:, np.newaxis] ** 2 + (np.pi * along / length_m) ** 2
    of_section, n = np.nonzero(square <= highest_rad_m**2)
    order = np.argsort(square[of_section, n], kind="stable")
    of_section, n = of_section[order], n[order]
    factor = np.where(n > 0, 2.0, 1.0)
    weights = np.empty((len(space.surfaces), n.size))
    weights[list(section.sides)] = flat.wall_weight_per_m[:, of_section]
    weights[list(section.ends)] = factor / length_m
    indices = None
    if space.is_box:
        indices = np.column_stack([flat.indices[of_section], n])

    def shapes_at(points_m: Float) -> Float:
        at = np.atleast_2d(points_m)
        cosine = np.cos(np.pi * np.outer(at[:, section.along], n) / length_m) * np.sqrt(factor)
        return np.asarray(flat.shapes_at(at[:, list(section.across)])[:, of_section] * cosine)

    return SpaceModes(
        space=space,
        wavenumber_rad_m=np.sqrt(square[of_section, n]),
        surface_weight_per_m=weights,
        kinds=_kinds(of_section, n, indices) if space.is_level else _sloped(n.size),
        indices=indices,
        error_percent=flat.error_percent,
        shapes_at=shapes_at,
    )


def _sloped(n_modes: int) -> tuple[str, ...]:
    """Return what each mode under a sloped ceiling is called."""
    return ("uniform", *["sloped"] * (n_modes - 1))


def _kinds(of_plan: Any, n: Any, indices: Any) -> tuple[str, ...]:
    """Return what each mode is called."""
    if indices is not None:
        counts = np.count_nonzero(indices, axis=1)
        return tuple("uniform" if count == 0 else KINDS[count - 1] for count in counts)
    names = {(False, False): "uniform", (True, False): "plan", (False, True): "vertical"}
    pairs = zip(of_plan > 0, n > 0, strict=True)
    return tuple(names.get((bool(a), bool(b)), "mixed") for a, b in pairs)
