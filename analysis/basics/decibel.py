"""Decibels from amplitudes and powers, and back.

Conventions: reference 1, so a level is ``20 log10`` of an amplitude ratio or
``10 log10`` of a power ratio. Nothing has level minus infinity: levels below
`FLOOR_DB` are set to it, so a curve stays finite.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from analysis.basics.arrays import Complex, Float

FLOOR_DB: Final = -300.0
"""Level of zero: below the rounding of any 64-bit sum of audio samples."""


def amplitude_db(amplitude: ArrayLike | Complex, *, floor_db: float = FLOOR_DB) -> Float:
    """Return the level of an amplitude, ``20 log10 |amplitude|``.

    Parameters
    ----------
    amplitude : array_like
        Real or complex, any shape.
    floor_db : float
        Lowest level returned.

    Returns
    -------
    ndarray
        In dB, the same shape.

    Examples
    --------
    >>> float(amplitude_db(0.1)), float(amplitude_db(0.0))
    (-20.0, -300.0)
    """
    return 20 * np.log10(np.maximum(np.abs(amplitude), 10 ** (floor_db / 20)))


def power_db(power: ArrayLike, *, floor_db: float = FLOOR_DB) -> Float:
    """Return the level of a power, ``10 log10 power``.

    Parameters
    ----------
    power : array_like
        At least 0, any shape.
    floor_db : float
        Lowest level returned.

    Returns
    -------
    ndarray
        In dB, the same shape.

    Raises
    ------
    ValueError
        If a power is negative.

    Examples
    --------
    >>> power_db(0.5).round(4).tolist(), float(power_db(0.0))
    (-3.0103, -300.0)
    """
    values = np.asarray(power, dtype=np.float64)
    if np.any(values < 0):
        msg = f"power {float(np.min(values))} must not be negative"
        raise ValueError(msg)
    return 10 * np.log10(np.maximum(values, 10 ** (floor_db / 10)))


def amplitude_from_db(level_db: ArrayLike) -> Float:
    """Return the amplitude of a level, ``10 ** (level_db / 20)``.

    Examples
    --------
    >>> float(amplitude_from_db(-20.0))
    0.1
    """
    return np.asarray(10 ** (np.asarray(level_db, dtype=np.float64) / 20))


def power_from_db(level_db: ArrayLike) -> Float:
    """Return the power of a level, ``10 ** (level_db / 10)``.

    Examples
    --------
    >>> float(power_from_db(-20.0))
    0.01
    """
    return np.asarray(10 ** (np.asarray(level_db, dtype=np.float64) / 10))
