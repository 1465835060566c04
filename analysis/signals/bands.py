r"""Fractional-octave bands, and smoothing of a response over frequency.

Conventions: frequency on the last axis. The octave is that of IEC 61260-1, base ten:
:math:`G = 10^{3/10}`, so the mid-band frequencies of :math:`1/b`-octave bands are

.. math:: f_m = 1000\,G^{x/b} \; (b \text{ odd}), \qquad
          f_m = 1000\,G^{(2x+1)/(2b)} \; (b \text{ even}),

with edges :math:`f_m G^{\pm 1/(2b)}`. A bin of a spectrum stands for the range
halfway to its neighbours, and a band takes the share of each bin that lies inside it.

References
----------
IEC 61260-1:2014, eqs. 1 to 5 and annex E; ISO 266:1997 (second-hand: the standards
themselves weren't seen).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from analysis.basics.arrays import Float, freeze
from analysis.basics.decibel import power_db, power_from_db

OCTAVE_RATIO: Final = 10**0.3
"""The octave G of IEC 61260-1, base ten: 1.99526."""

REFERENCE_HZ: Final = 1000.0

_THIRD_OCTAVE_DIGITS: Final = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
"""The ten nominal values of a decade, ISO 266."""

_EDGE_TOLERANCE: Final = 1e-9
"""Relative slack when bands are picked, so that an exact centre or edge counts as inside."""

_LEAST_HALF_WINDOW: Final = 1e-6
"""Half a smoothing window in ln f; a narrower one would drown in the sum's rounding."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Bands:
    """Neighbouring fractional-octave bands.

    Attributes
    ----------
    centre_hz, lower_hz, upper_hz : ndarray, shape (n,)
        Exact mid-band and edge frequencies, in Hz, rising.
    """

    centre_hz: Float
    lower_hz: Float
    upper_hz: Float
    bands_per_octave: int

    def __post_init__(self) -> None:
        for name in ("centre_hz", "lower_hz", "upper_hz"):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name))

    @property
    def labels(self) -> tuple[str, ...]:
        """Nominal mid-band frequency of each band, such as ``31.5`` or ``1.25k``."""
        return tuple(
            nominal_label(float(centre), bands_per_octave=self.bands_per_octave)
            for centre in self.centre_hz
        )


def octave_bands(
    low_hz: float, high_hz: float, *, bands_per_octave: int = 3, whole: bool = False
) -> Bands:
    """Return the fractional-octave bands of a frequency range.

    Parameters
    ----------
    low_hz, high_hz : float
        Ends of the range, in Hz, above 0 and rising.
    bands_per_octave : int
        1 for octaves, 3 for third octaves, at least 1.
    whole : bool
        Take only bands that lie wholly inside the range; else those whose centre does.

    Returns
    -------
    Bands
        Possibly none.

    Raises
    ------
    ValueError
        If the range is empty or not positive, or `bands_per_octave` below 1.

    Examples
    --------
    The octaves of IEC 61260-1 around 1 kHz, exact:

    >>> bands = octave_bands(250.0, 2000.0, bands_per_octave=1)
    >>> bands.labels, bands.centre_hz.round(2).tolist()
    (('250', '500', '1k', '2k'), [251.19, 501.19, 1000.0, 1995.26])
    """
    if not 0 < low_hz < high_hz < math.inf:
        msg = f"low_hz {low_hz} must lie above 0 and below high_hz {high_hz}"
        raise ValueError(msg)
    if bands_per_octave < 1:
        msg = f"bands_per_octave {bands_per_octave} must be at least 1"
        raise ValueError(msg)
    b = bands_per_octave
    offset = 0.0 if b % 2 else 0.5
    bounds = [b * math.log(f / REFERENCE_HZ, OCTAVE_RATIO) for f in (low_hz, high_hz)]
    index = np.arange(math.floor(bounds[0]) - 1, math.ceil(bounds[1]) + 2) + offset
    centre = REFERENCE_HZ * OCTAVE_RATIO ** (index / b)
    half = OCTAVE_RATIO ** (1 / (2 * b))
    reach = half if whole else 1.0
    inside = (centre / reach >= low_hz * (1 - _EDGE_TOLERANCE)) & (
        centre * reach <= high_hz * (1 + _EDGE_TOLERANCE)
    )
    centre = centre[inside]
    return Bands(
        centre_hz=centre, lower_hz=centre / half, upper_hz=centre * half, bands_per_octave=b
    )


def nominal_label(centre_hz: float, *, bands_per_octave: int = 3) -> str:
    """Return the nominal mid-band frequency as text, ``31.5`` or ``1.25k``.

    Parameters
    ----------
    centre_hz : float
        Exact mid-band frequency, in Hz, above 0.
    bands_per_octave : int
        For 1 and 3 the ten values of ISO 266 are used, else the rounding of
        IEC 61260-1 annex E: three digits if the first is 1 to 4, else two.

    Raises
    ------
    ValueError
        If the frequency isn't above 0.

    Examples
    --------
    >>> nominal_label(1000 * 10**0.1), nominal_label(1000 * 10**-1.5)
    ('1.25k', '31.5')
    """
    if not 0 < centre_hz < math.inf:
        msg = f"centre_hz {centre_hz} must lie above 0"
        raise ValueError(msg)
    if bands_per_octave in (1, 3):
        step = round(10 * math.log10(centre_hz))
        nominal = _THIRD_OCTAVE_DIGITS[step % 10] * 10.0 ** (step // 10)
    else:
        decade = math.floor(math.log10(centre_hz))
        digits = 3 if centre_hz / 10**decade < 5 else 2
        nominal = float(f"{centre_hz:.{digits}g}")
    return f"{nominal / 1000:.6g}k" if nominal >= 1000 else f"{nominal:.6g}"


def band_powers(frequency_hz: ArrayLike, power: ArrayLike, bands: Bands) -> Float:
    """Return the power in each band: the sum of its bins, partial bins by their share.

    Parameters
    ----------
    frequency_hz : array_like, shape (n,)
        Bin frequencies, in Hz, evenly spaced.
    power : array_like, shape (..., n)
        Power of each bin.
    bands : Bands
        Within the range of the bins, which reaches half a bin beyond the outer ones.

    Returns
    -------
    ndarray, shape (..., n_bands)
        In the unit of `power`.

    Raises
    ------
    ValueError
        If the bins aren't evenly spaced or a band reaches beyond them.

    Examples
    --------
    White noise has three decibels more power in an octave than in the one below:

    >>> bands = octave_bands(250.0, 1000.0, bands_per_octave=1)
    >>> powers = band_powers(np.arange(2000.0), np.ones(2000), bands)
    >>> (10 * np.log10(powers[1:] / powers[:-1])).round(6).tolist()
    [3.0, 3.0]
    """
    frequency, values = _as_checked_arrays(frequency_hz, power)
    spacing = np.diff(frequency)
    if not np.allclose(spacing, spacing[0], rtol=1e-6):
        msg = "frequency_hz must be evenly spaced for band_powers"
        raise ValueError(msg)
    edges = _bin_edges(frequency)
    _require_inside(edges, bands)
    running = _running_sum(values, np.ones_like(frequency))
    return _interpolate_sum(edges, running, bands.upper_hz) - _interpolate_sum(
        edges, running, bands.lower_hz
    )


def band_mean_powers(frequency_hz: ArrayLike, power: ArrayLike, bands: Bands) -> Float:
    """Return the mean power of the bins in each band, partial bins by their share.

    The parameters and errors are those of `band_powers`. For the squared magnitude of
    a response this is what the band passes of noise that is white within it.

    Returns
    -------
    ndarray, shape (..., n_bands)
        In the unit of `power`.
    """
    frequency, _ = _as_checked_arrays(frequency_hz, power)
    n_bins = (bands.upper_hz - bands.lower_hz) / (frequency[1] - frequency[0])
    return np.asarray(band_powers(frequency_hz, power, bands) / n_bins)


def smooth(frequency_hz: ArrayLike, level_db: ArrayLike, octaves: float) -> Float:
    """Return a response smoothed in power over a part of an octave.

    Parameters
    ----------
    frequency_hz : array_like, shape (n,)
        Rising, above 0, in Hz; any spacing.
    level_db : array_like, shape (..., n)
        Levels, in dB.
    octaves : float
        Width of the window in octaves, such as ``1 / 6``; at least 0.

    Returns
    -------
    ndarray, shape (..., n)
        Levels in dB of the power averaged from ``f G**(-octaves/2)`` to
        ``f G**(octaves/2)``.

    Raises
    ------
    ValueError
        If `frequency_hz` isn't rising and above 0, or `octaves` is negative.

    Notes
    -----
    The mean is taken over the logarithm of frequency, so a straight slope in dB per
    octave keeps its slope. Near the ends the window shrinks on both sides alike: it
    never leans on one side. Where it is narrower than a bin, nothing changes.

    Examples
    --------
    A constant stays one:

    >>> smooth(np.array([100.0, 200.0, 400.0]), np.full(3, -6.0), 1 / 3).round(9).tolist()
    [-6.0, -6.0, -6.0]
    """
    frequency, level = _as_checked_arrays(frequency_hz, level_db)
    if not 0 <= octaves < math.inf:
        msg = f"octaves {octaves} must be a number of at least 0"
        raise ValueError(msg)
    position, edges = _log_axis(frequency)
    half = np.minimum(position - edges[0], edges[-1] - position)
    half = np.minimum(half, 0.5 * octaves * math.log(OCTAVE_RATIO))
    half = np.maximum(half, _LEAST_HALF_WINDOW)
    running = _running_sum(power_from_db(level), np.diff(edges))
    total = _interpolate_sum(edges, running, position + half) - _interpolate_sum(
        edges, running, position - half
    )
    return power_db(np.maximum(total / (2 * half), 0.0))


def _as_checked_arrays(frequency_hz: ArrayLike, values: ArrayLike) -> tuple[Float, Float]:
    """Return both as float arrays, after a check of their shapes and of the order."""
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    array = np.asarray(values, dtype=np.float64)
    if frequency.ndim != 1 or frequency.size < 2 or array.shape[-1:] != frequency.shape:
        msg = (
            f"frequency_hz of shape {frequency.shape} must have one axis of at least 2 bins "
            f"and match the last axis of values of shape {array.shape}"
        )
        raise ValueError(msg)
    if not np.all(np.diff(frequency) > 0):
        msg = "frequency_hz must rise"
        raise ValueError(msg)
    return frequency, array


def _bin_edges(position: Float) -> Float:
    """Return the n + 1 edges of n bins: halfway to the neighbours, the outer ones mirrored."""
    middle = 0.5 * (position[1:] + position[:-1])
    first = 2 * position[0] - middle[0]
    last = 2 * position[-1] - middle[-1]
    return np.concatenate(([first], middle, [last]))


def _log_axis(frequency: Float) -> tuple[Float, Float]:
    """Return the logarithm of frequency and the edges of its bins."""
    if frequency[0] <= 0:
        msg = f"frequency_hz must start above 0, not at {frequency[0]:g}"
        raise ValueError(msg)
    position = np.log(frequency)
    return position, _bin_edges(position)


def _running_sum(values: Float, weight: Float) -> Float:
    """Return the sum of the weighted bins up to each edge, shape (..., n + 1)."""
    start = np.zeros((*values.shape[:-1], 1))
    return np.concatenate((start, np.cumsum(values * weight, axis=-1)), axis=-1)


def _interpolate_sum(edges: Float, running: Float, position: Float) -> Float:
    """Return the running sum at any position, linear within a bin."""
    index = np.clip(np.searchsorted(edges, position, side="right") - 1, 0, edges.size - 2)
    share = np.clip((position - edges[index]) / (edges[index + 1] - edges[index]), 0.0, 1.0)
    return np.asarray(running[..., index] * (1 - share) + running[..., index + 1] * share)


def _require_inside(edges: Float, bands: Bands) -> None:
    """Raise where a band reaches beyond the bins."""
    if bands.centre_hz.size == 0:
        return
    slack = _EDGE_TOLERANCE * bands.upper_hz[-1]
    if bands.lower_hz[0] < edges[0] - slack or bands.upper_hz[-1] > edges[-1] + slack:
        msg = (
            f"bands from {bands.lower_hz[0]:.6g} to {bands.upper_hz[-1]:.6g} Hz must lie within "
            f"the spectrum's {max(edges[0], 0):.6g} to {edges[-1]:.6g} Hz"
        )
        raise ValueError(msg)
