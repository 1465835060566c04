r"""Modes of a room: what rigid walls, floor and ceiling let ring.

Conventions: those of `analysis.room.room`. Shapes have a mean square of 1 over the volume, so
every mode enters the sum with the factor 1, and the uniform pressure is the first mode. Where a
room has a section (`analysis.room.section`: the floor plan under a level ceiling) a mode is one
of the section times :math:`\cos(n \pi z / H)` along the line of length :math:`H`:

.. math:: k^2 = \kappa^2 + (n \pi / H)^2.

*Surface weight* is the integral of the squared shape over a surface divided by that over the
volume, in 1/m.

The modes of a box have a closed form, and three *indices* that count the half waves along the
**length, the width and the height, in this order**, as mode tables print them; (1, 0, 0) is the
first mode between front and rear wall. This is the only place that fixes the order.

.. math::

    f_{lmn} = \frac{c}{2} \sqrt{(l/L)^2 + (m/W)^2 + (n/H)^2}, \qquad
    \psi_{lmn} = \sqrt{\varepsilon_{lmn}}
        \cos\frac{l \pi y}{L} \cos\frac{m \pi x}{W} \cos\frac{n \pi z}{H},

with :math:`\varepsilon` = 1, 2, 4 or 8 for none, one, two or three non-zero indices.

References
----------
Lord Rayleigh, "The Theory of Sound", vol. 2; H. Kuttruff, "Room Acoustics", 5th ed.,
secs. 3.1 and 3.2 (second-hand).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Float, freeze
from analysis.room.plan_modes import ERROR_PERCENT, PlanModes, plan_modes
from analysis.room.room import Room
from analysis.room.section import Section, section_of
from analysis.room.sloped_modes import sloped_modes

Indices = NDArray[np.int64]

KINDS: Final = ("axial", "tangential", "oblique")
"""Of a box's modes, by the number of non-zero indices."""

MOST_MODES: Final = 200_000
"""More than this is a wrong frequency limit, not a bass question."""

MOST_SOLVED_MODES: Final = 20_000
"""The same where the modes have no closed form."""

_TIE: Final = 1e-12
"""Squared wavenumbers that differ by less, relative to the largest, are equal but for rounding."""

_PROBE_M: Final = 0.25
"""Spacing of the points at which a shape's largest value is looked for."""

_OFF_WALL_M: Final = 0.01


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Modes:
    """Modes of a room by rising frequency.

    Attributes
    ----------
    room : Room
    wavenumber_rad_m : ndarray, shape (n,)
        The first is 0, the uniform pressure.
    surface_weight_per_m : ndarray, shape (n_surfaces, n)
        In the order of `Room.surfaces`.
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

    room: Room
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

    def drive(self, sources_m: Float) -> Float:
        """Return the mean shape at sources, shape (k, 3), that play the same signal, shape (n,).

        A pair that stands symmetrically about the middle of the width doesn't drive the modes
        of a box whose width index is odd.
        """
        return np.asarray(self.shapes_at(sources_m).mean(axis=0))

    def strength(self, sources_m: Float, seat_m: Float) -> Float:
        """Return how strongly sources reach a seat, shape (3,), by each mode, shape (n,).

        Drive times shape at the seat, over that of the uniform pressure.
        """
        coupled = self.drive(sources_m) * self.shapes_at(seat_m)[0]
        return np.asarray(coupled / coupled[0])

    def largest_shapes(self) -> Float:
        """Return the largest size of each shape in the room, shape (n,).

        In a closed form for a box, else from points all over the room.
        """
        if self.indices is not None:
            return np.asarray(np.sqrt(2.0 ** np.count_nonzero(self.indices, axis=1)))
        return np.asarray(np.abs(self.shapes_at(_probes(self.room))).max(axis=0))


def room_modes(
    room: Room,
    highest_hz: float,
    *,
    speed_of_sound_m_s: float,
    error_percent: float = ERROR_PERCENT,
) -> Modes:
    """Return all modes of a room up to a frequency, the uniform pressure first.

    Parameters
    ----------
    room : Room
    highest_hz : float
        Above 0.
    speed_of_sound_m_s : float
    error_percent : float
        What the frequencies may be off by.

    Returns
    -------
    Modes
        By rising frequency; ties of a box in the order of the indices.

    Raises
    ------
    ValueError
        If the limit isn't above 0, or the room too large for it.
    """
    if not 0 < highest_hz < math.inf:
        msg = f"highest_hz {highest_hz} must lie above 0"
        raise ValueError(msg)
    highest_rad_m = 2 * math.pi * highest_hz / speed_of_sound_m_s
    most = MOST_MODES if room.is_box else MOST_SOLVED_MODES
    if room.volume_m3 * highest_rad_m**3 / (6 * math.pi**2) > most:
        msg = f"highest_hz {highest_hz} means over {most} modes: ask less high"
        raise ValueError(msg)
    section = section_of(room)
    if section is not None:
        flat = plan_modes(section.outline, highest_rad_m, error_percent=error_percent)
        return _of_section(room, section, flat, highest_rad_m)
    wavenumber, weights, shapes_at, found_percent = sloped_modes(
        room, highest_rad_m, error_percent=error_percent
    )
    return Modes(
        room=room,
        wavenumber_rad_m=wavenumber,
        surface_weight_per_m=weights,
        kinds=_sloped(wavenumber.size),
        indices=None,
        error_percent=found_percent,
        shapes_at=shapes_at,
    )


def _of_section(room: Room, section: Section, flat: PlanModes, highest_rad_m: float) -> Modes:
    """Return the modes that those of a section make with cosines along the line."""
    length_m = section.length_m
    along = np.arange(math.floor(highest_rad_m * length_m / math.pi) + 1)
    square = flat.wavenumber_rad_m[:, np.newaxis] ** 2 + (np.pi * along / length_m) ** 2
    of_section, n = np.nonzero(square <= highest_rad_m**2)
    order = _rising_order(square[of_section, n], flat, of_section, n)
    of_section, n = of_section[order], n[order]
    factor = np.where(n > 0, 2.0, 1.0)
    weights = np.empty((len(room.surfaces), n.size))
    weights[list(section.sides)] = flat.wall_weight_per_m[:, of_section]
    weights[list(section.ends)] = factor / length_m
    indices = None
    if room.is_box:
        indices = np.column_stack([flat.indices[of_section], n])

    def shapes_at(points_m: Float) -> Float:
        at = np.atleast_2d(points_m)
        cosine = np.cos(np.pi * np.outer(at[:, section.along], n) / length_m) * np.sqrt(factor)
        return np.asarray(flat.shapes_at(at[:, list(section.across)])[:, of_section] * cosine)

    return Modes(
        room=room,
        wavenumber_rad_m=np.sqrt(square[of_section, n]),
        surface_weight_per_m=weights,
        kinds=_kinds(of_section, n, indices) if room.is_level else _sloped(n.size),
        indices=indices,
        error_percent=flat.error_percent,
        shapes_at=shapes_at,
    )


def _rising_order(square: Float, flat: PlanModes, of_section: Any, n: Any) -> Any:
    """Return the order of rising wavenumbers; ties of a rectangle in that of the indices."""
    if flat.indices is None:
        return np.argsort(square, kind="stable")
    length, width = flat.indices[of_section].T
    step = _TIE * max(float(square.max()), 1e-9)
    return np.lexsort((n, width, length, np.round(square / step)))


def _probes(room: Room) -> Float:
    """Return points all over the room and near its corners, at floor and ceiling.

    All stand a little off the walls: a mesh's edge is no place to ask for a value.
    """
    from shapely import contains_xy

    inner = room.plan.polygon.buffer(-_OFF_WALL_M, join_style="mitre")
    low_x, low_y, high_x, high_y = inner.bounds
    x, y = (
        np.linspace(low, high, math.ceil((high - low) / _PROBE_M) + 1)
        for low, high in ((low_x, high_x), (low_y, high_y))
    )
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    plan = np.concatenate([np.array(inner.exterior.coords)[:-1], grid[contains_xy(inner, grid)]])
    heights = room.height_at(plan)
    return np.concatenate([np.column_stack([plan, share * heights]) for share in (0.0, 0.5, 1.0)])


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
