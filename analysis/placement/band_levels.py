r"""Levels in bands of a sixth of an octave, from 25 to 200 Hz: what a place is judged by.

Conventions: bands along the first axis, places along the last; level is the mean power in a
band in dB. The line against which evenness is taken falls slowly: its slope is that of least
squares, kept within `SLOPE_RANGE`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from analysis.basics.arrays import Complex, Float
from analysis.basics.decibel import power_db

CENTRES_HZ: Final = 25.0 * 2.0 ** (np.arange(19) / 6)
"""25 to 200 Hz."""

PER_BAND: Final = 8
"""Frequencies in a band, evenly over its logarithm: 1 % apart, less than a mode's width."""

SLOPE_RANGE: Final = (-3.0, 0.0)
"""Slopes of the line in dB an octave that count as even: a slow fall toward the treble is
what rooms and listeners want. Common practice, no source."""

_OFFSETS_IN_BAND: Final = (np.arange(PER_BAND) + 0.5) / PER_BAND - 0.5

FREQUENCY_HZ: Final = (CENTRES_HZ[:, np.newaxis] * 2.0 ** (_OFFSETS_IN_BAND / 6)).ravel()
"""All frequencies of all bands, rising."""


def band_levels_db(power: Float) -> Float:
    """Return band levels, shape (19, ...), from the power at `FREQUENCY_HZ` on axis 0."""
    in_bands = power.reshape(CENTRES_HZ.size, PER_BAND, *power.shape[1:])
    return np.asarray(power_db(in_bands.mean(axis=1)))


def band_coherence(left: Complex, right: Complex) -> Complex:
    r"""Return the complex coherence of left and right in each band, shape (19, ...).

    Parameters
    ----------
    left, right : ndarray of complex, shape (f, ...)
        At `FREQUENCY_HZ`.

    Returns
    -------
    ndarray of complex
        The mean of :math:`L R^*` over the root of the product of both powers: at most 1 in
        magnitude, its angle the phase of left before right. What both have in common, such
        as the microphone and loudspeakers that are alike, cancels.

    Examples
    --------
    Left a quarter of a period ahead of right, at any levels:

    >>> right = np.ones(FREQUENCY_HZ.size, dtype=np.complex128)
    >>> found = band_coherence(2j * right, right)
    >>> bool(np.allclose(found, 1j))
    True
    """
    shape = (CENTRES_HZ.size, PER_BAND, *left.shape[1:])
    both = (left * right.conj()).reshape(shape).mean(axis=1)
    powers = [(np.abs(one) ** 2).reshape(shape).mean(axis=1) for one in (left, right)]
    return np.asarray(both / np.sqrt(powers[0] * powers[1]))


def curve_band_levels_db(frequency_hz: Float, level_db: Float) -> Float:
    """Return band levels of a measured curve, NaN where it doesn't cover a band.

    Parameters
    ----------
    frequency_hz, level_db : ndarray, shape (n,)
        The level is NaN where nothing is known.

    Returns
    -------
    ndarray, shape (19,)
    """
    power = 10 ** (np.interp(FREQUENCY_HZ, frequency_hz, level_db, left=np.nan, right=np.nan) / 10)
    return band_levels_db(power)


def deviations_from_line_db(levels_db: Float, trusted: Float | None = None) -> Float:
    """Return levels about their slowly falling line, shape as given.

    Parameters
    ----------
    levels_db : ndarray, shape (19, ...)
    trusted : ndarray, shape (19,), optional
        Weight of each band, 0 or 1; all by default.

    Returns
    -------
    ndarray

    Examples
    --------
    A level that falls by 2 dB an octave is even:

    >>> off = deviations_from_line_db(-2.0 * np.log2(CENTRES_HZ))
    >>> bool(np.abs(off).max() < 1e-12)
    True
    """
    weight = np.ones(CENTRES_HZ.size) if trusted is None else trusted
    octave = np.log2(CENTRES_HZ)
    octave = octave - weight @ octave / weight.sum()
    mean = np.tensordot(weight, levels_db, 1) / weight.sum()
    slope = np.tensordot(weight * octave, levels_db, 1) / (weight @ octave**2)
    slope = np.clip(slope, *SLOPE_RANGE)
    return np.asarray(levels_db - mean - np.multiply.outer(octave, slope))
