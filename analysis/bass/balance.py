r"""How much bass there is against the middle of the range, and what is worst in it.

Conventions: levels in dB; a band's level is that of the power averaged with equal
weight per octave, with the expected noise power taken off; positive where the bass is
stronger than the mean from 200 to 1000 Hz. ``_std_`` is one sigma, from noise alone: how
the level changes from place to place is a matter of more than one microphone position.

The variance of a mean over bins of weight :math:`w_i`, of which each :math:`n_c` next
to each other are one cell of the resolution, is

.. math:: n_c \sum_i w_i^2 (2 |H_i|^2 \sigma_i^2 + \sigma_i^4) / (\sum_i w_i)^2 .
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import fft

from analysis.basics.arrays import Float
from analysis.bass.curve import BassCurve, bass_window
from analysis.bass.features import Feature

BANDS_HZ: Final = ((20.0, 50.0), (50.0, 100.0), (100.0, 200.0))
"""Low bass: few modes, and the loudspeaker's lower end; mid bass: the strongest axial
modes of a living room; upper bass: where the nearest boundaries cancel. About an octave
each: common practice, no source."""

REFERENCE_HZ: Final = (200.0, 1000.0)
"""What bass is compared with: above the modes, below what toe-in and cushions change."""

LEAST_COVERED: Final = 0.5
"""A band of which the sweep covers less, in octaves, gets no level."""

DIP_WEIGHT: Final = 0.5
"""A dip counts half: dips are heard less than peaks of the same size (R. Bucklein, "The
audibility of frequency response irregularities", J. Audio Eng. Soc. 29 (1981) 126-131,
from memory, which gives no such number: the half is ours)."""

INAUDIBLE_DB: Final = 20.0
"""Features where the local mean lies so far below its highest value don't count among
the worst: the loudspeaker has ended there."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BandBalance:
    """Level of one bass band against the mean from 200 to 1000 Hz.

    Attributes
    ----------
    band_hz : tuple of float
        Lower and upper end, in Hz.
    covered_hz : tuple of float or None
        The part of it that was measured, in Hz.
    level_db, std_db : float or None
        Level against the reference and one sigma from noise, in dB.
    reason : str or None
        Why there is none: ``"not covered"`` or ``"noise"``.
    """

    band_hz: tuple[float, float]
    covered_hz: tuple[float, float] | None = None
    level_db: float | None = None
    std_db: float | None = None
    reason: Literal["not covered", "noise"] | None = None


BassBalance = tuple[BandBalance, ...]
"""One a band of ``BANDS_HZ``."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Spectrum:
    """Power and noise power up to the end of the reference."""

    frequency_hz: Float
    power: Float
    noise_power: Float
    cell: float


def bass_balance(curve: BassCurve) -> BassBalance:
    """Return the level of each bass band against the mean from 200 to 1000 Hz.

    Parameters
    ----------
    curve : BassCurve
        Its low band holds the response up to 1 kHz.

    Returns
    -------
    BassBalance
        A tuple of `BandBalance`, one a band of ``BANDS_HZ``.
    """
    spectrum = _covered_spectrum(curve)
    reference = _mean_power(spectrum, REFERENCE_HZ)
    return tuple(_balance_of_band(spectrum, band_hz, reference) for band_hz in BANDS_HZ)


def worst_features(
    curve: BassCurve, features: Sequence[Feature], *, n_most: int = 2
) -> tuple[Feature, ...]:
    """Return the peaks and dips that are likely heard most, the worst first.

    Parameters
    ----------
    features : sequence of Feature
        Those of `curve`.
    n_most : int
        At most so many.

    Notes
    -----
    What counts is how far the curve smoothed over 1/6 octave still departs from the
    local mean: a dip far narrower than the ear's bands, deep as it may be, all but
    vanishes there. Dips count half.
    """
    if not features:
        return ()
    mean_db = np.interp([f.frequency_hz for f in features], curve.frequency_hz, curve.local_mean_db)
    lowest_db = float(np.max(curve.local_mean_db[curve.covered])) - INAUDIBLE_DB
    heard = [f for f, mean in zip(features, mean_db, strict=True) if mean > lowest_db]
    return tuple(sorted(heard, key=lambda f: _audibility_db(curve, f), reverse=True)[:n_most])


def _audibility_db(curve: BassCurve, feature: Feature) -> float:
    """Return the weight of a feature among the others, in dB."""
    departure = curve.sixth_octave_db - curve.local_mean_db
    at = float(np.interp(feature.frequency_hz, curve.frequency_hz, departure))
    return at if feature.kind == "peak" else -DIP_WEIGHT * at


def _covered_spectrum(curve: BassCurve) -> _Spectrum:
    """Return the covered bins from the lowest band to the end of the reference."""
    low = curve.low_band
    window, _ = bass_window(low)
    power = np.abs(fft.rfft(window * low.samples, low.n_fft)) ** 2
    frequency_hz = fft.rfftfreq(low.n_fft, 1 / low.sample_rate_hz)
    keep = (frequency_hz >= max(BANDS_HZ[0][0], low.band_hz[0])) & (
        frequency_hz <= min(REFERENCE_HZ[1], low.band_hz[1])
    )
    for low_hz, high_hz in low.gaps_hz:
        keep &= (frequency_hz < low_hz) | (frequency_hz > high_hz)
    noise = low.noise_density(frequency_hz[keep], window=window) * float(np.sum(window**2))
    return _Spectrum(
        frequency_hz=frequency_hz[keep],
        power=power[keep],
        noise_power=noise,
        cell=max(1.0, curve.resolution_hz / float(frequency_hz[1])),
    )


def _mean_power(
    spectrum: _Spectrum, band_hz: tuple[float, float]
) -> tuple[float, float, tuple[float, float]] | None:
    """Return mean power, its std and the covered band; ``None`` if too little is covered."""
    inside = (spectrum.frequency_hz >= band_hz[0]) & (spectrum.frequency_hz <= band_hz[1])
    frequency_hz = spectrum.frequency_hz[inside]
    if frequency_hz.size < 2:
        return None
    weight = 1 / frequency_hz
    spacing_hz = float(np.min(np.diff(frequency_hz)))
    covered = float(np.sum(weight)) * spacing_hz / math.log(band_hz[1] / band_hz[0])
    if covered < LEAST_COVERED:
        return None
    noise = spectrum.noise_power[inside]
    power = spectrum.power[inside] - noise
    mean = float(np.average(power, weights=weight))
    spread = 2 * np.maximum(power, 0) * noise + noise**2
    variance = spectrum.cell * float(np.sum(weight**2 * spread)) / float(np.sum(weight)) ** 2
    return mean, math.sqrt(variance), (float(frequency_hz[0]), float(frequency_hz[-1]))


def _balance_of_band(
    spectrum: _Spectrum,
    band_hz: tuple[float, float],
    reference: tuple[float, float, tuple[float, float]] | None,
) -> BandBalance:
    """Return the level of one band against the reference."""
    band = _mean_power(spectrum, band_hz)
    if band is None or reference is None:
        return BandBalance(band_hz=band_hz, reason="not covered")
    mean, std, covered_hz = band
    if mean <= 2 * std or reference[0] <= 2 * reference[1]:
        return BandBalance(band_hz=band_hz, covered_hz=covered_hz, reason="noise")
    share = math.hypot(std / mean, reference[1] / reference[0])
    return BandBalance(
        band_hz=band_hz,
        covered_hz=covered_hz,
        level_db=10 * math.log10(mean / reference[0]),
        std_db=10 / math.log(10) * share,
    )
