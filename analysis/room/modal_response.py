r"""The steady response of a rectangular room as a sum over its modes.

Conventions: those of `analysis.room.modes`; the last axis runs over modes, and where there
are frequencies, they run along the axis before it. The response is that to monopoles
of constant volume acceleration (a closed loudspeaker in its pass band), scaled so that
the uniform pressure has a strength of 1.

.. math::

    p(f) = \sum_n \frac{\varepsilon_n \psi_n(s) \psi_n(r)}
                       {f_n^2 - f^2 + \mathrm{j} f \Delta f_n}

with the uniform pressure (:math:`f_0 = 0`, :math:`\varepsilon_0 = 1`) among the terms: it
is as strong as any mode below the first ones. All modes share one half-power width.

References
----------
H. Kuttruff, "Room Acoustics", 5th ed., sec. 3.3 (from memory). The factors 1, 2, 4, 8
are needed: with them the sum agrees with image sources, with one factor it doesn't.
"""

from __future__ import annotations

from typing import Final, Protocol

import numpy as np

from analysis.basics.arrays import Complex, Float
from analysis.room.modes import Modes
from analysis.room.room import Point

SUM_TO: Final = 1.4
"""Modes up to so many times the highest frequency of interest are summed; the rest adds a
smooth background that moves no peak."""


class HasFrequencies(Protocol):
    """What is needed of modes."""

    @property
    def frequency_hz(self) -> Float:
        """Frequency of each, in Hz."""


def resonances(modes: HasFrequencies, frequency_hz: Float, *, width_hz: Float | float) -> Complex:
    """Return each mode's response per unit of strength.

    Parameters
    ----------
    modes : Modes, or any other record with their `frequency_hz`
    frequency_hz : ndarray, shape (m,)
        Above 0.
    width_hz : float or ndarray, shape (m,)
        Half-power width taken at each frequency.

    Returns
    -------
    ndarray of complex, shape (m, n + 1)
        The first column is the uniform pressure, the others are the modes in order.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)[:, np.newaxis]
    width = np.broadcast_to(np.asarray(width_hz, dtype=np.float64), f.shape[:1])[:, np.newaxis]
    mode_hz = np.concatenate(([0.0], modes.frequency_hz))
    off = mode_hz**2 - f**2
    loss = f * width
    # In real numbers: a complex division takes three times as long.
    scale = 1.0 / (off**2 + loss**2)
    result = np.empty(off.shape, dtype=np.complex128)
    result.real = off * scale
    result.imag = -loss * scale
    return result


def strengths(modes: Modes, sources: tuple[Point, ...], seat: Point) -> Float:
    """Return the strength of the uniform pressure, 1, and of each mode, shape (n + 1,)."""
    return np.concatenate(([1.0], modes.strength(sources, seat)))
