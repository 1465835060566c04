r"""Band-limited interpolation between samples.

Conventions: time on the last axis; positions and delays in samples. A value at the position
*i* + *f*, with *i* whole and 0 <= *f* < 1, is the sum of the `TAPS` samples from
*i* - `BEFORE` on, weighted by row *f* of the kernel: a sinc under a Kaiser window.

The kernel is flat within 1e-4 up to `FLAT_TO` of the sampling frequency. It stands in a table
of `_PHASES` rows, between which it is interpolated linearly; that costs at most
:math:`(\pi / \mathrm{phases})^2 / 8`, 5e-6 of the highest frequency.

References
----------
T. I. Laakso, V. Välimäki, M. Karjalainen, U. K. Laine, "Splitting the unit delay", IEEE
Signal Processing Magazine 13(1), 30-60, 1996 (from memory).
"""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np

from analysis.basics.arrays import Float

TAPS: Final = 64
BEFORE: Final = TAPS // 2 - 1
"""Taps before the whole part of a position."""

FLAT_TO: Final = 0.45
"""Of the sampling frequency."""

_BETA: Final = 9.0
_PHASES: Final = 512


@cache
def _table() -> Float:
    """Return the kernels of all phases, one more than there are, shape (phases + 1, TAPS)."""
    phase = np.arange(_PHASES + 1)[:, np.newaxis] / _PHASES
    away = np.arange(TAPS) - BEFORE - phase
    window = np.i0(_BETA * np.sqrt(np.maximum(1 - (away / (TAPS // 2)) ** 2, 0))) / np.i0(_BETA)
    table: Float = np.sinc(away) * window
    table.flags.writeable = False
    return table


def kernels(fraction: Float) -> Float:
    """Return the weights for fractions of a sample.

    Parameters
    ----------
    fraction : ndarray, shape (n,)
        0 to 1.

    Returns
    -------
    ndarray, shape (n, TAPS)
    """
    table = _table()
    part, phase = np.modf(np.asarray(fraction, dtype=np.float64) * _PHASES)
    row = phase.astype(np.intp)
    low = table[row]
    return low + part[:, np.newaxis] * (table[np.minimum(row + 1, _PHASES)] - low)


def at_positions(samples: Float, position: Float) -> Float:
    """Return a signal at positions between its samples.

    Parameters
    ----------
    samples : ndarray, shape (k, n)
    position : ndarray, shape (m,)
        From `BEFORE` to n - TAPS + BEFORE.

    Returns
    -------
    ndarray, shape (k, m)
    """
    whole = np.floor(position)
    windows = np.lib.stride_tricks.sliding_window_view(samples, TAPS, axis=-1)
    stretch = windows[:, whole.astype(np.intp) - BEFORE]
    return np.asarray(np.einsum("kmt,mt->km", stretch, kernels(position - whole)))


def pulses(delay: Float, gain: Float, n_samples: int) -> Float:
    """Return the sum of band-limited pulses.

    Parameters
    ----------
    delay : ndarray, shape (m,)
        Not negative, in samples; what falls outside is left out.
    gain : ndarray, shape (m,)
    n_samples : int

    Returns
    -------
    ndarray, shape (n_samples,)
    """
    whole = np.floor(delay)
    weights = gain[:, np.newaxis] * kernels(delay - whole)
    at = whole.astype(np.intp)[:, np.newaxis] - BEFORE + np.arange(TAPS)
    inside = (at >= 0) & (at < n_samples)
    summed: Float = np.bincount(at[inside], weights[inside], minlength=n_samples).astype(float)
    return summed
