"""A pair of responses under one gate, and the phase that their magnitudes explain.

Conventions: left over right; phase counted from each side's arrival; noise over signal as
complex errors, at many places of the noise, axes (place, bin).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float, Mask
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import gated_noise_spectra, gated_spectrum

GATE_S = 0.8e-3
"""Shorter than nearly every reflection's delay at a seat; 0.6 to 1 ms were as good."""

SMEAR_HZ = 0.6 / GATE_S
"""How far the gate smears a hole in the spectrum: three fifths of its resolution."""

RATIO_BAND_HZ = (800.0, 20_500.0)
"""Outside it the magnitude ratio is held, for the Hilbert transform; above it a fading
slope is added (`_slope_row`)."""

SLOPE_FADES = 3
"""Above the band the ratio's slope is taken to fade with this power of frequency: two
tweeters whose second-order corners differ part by an amount that levels off."""

N_NOISES = 96
"""Places of the noise: enough for its spread to a tenth."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class GatedPair:
    """Both responses under one gate, and what is known of their difference.

    Attributes
    ----------
    spectra : tuple of ndarray
        Left and right, phase counted from `arrivals_s`.
    errors : tuple of ndarray, shape (n_places, n_bins)
        Noise over signal of each, at many places.
    log_ratio : ndarray
        Logarithm of the magnitude ratio, held outside its band.
    inside : ndarray of bool
        Bins of the fit.
    top_hz : float
        Upper end of the magnitude ratio's band.
    """

    spectra: tuple[Complex, Complex]
    errors: tuple[Complex, Complex]
    log_ratio: Float
    inside: Mask
    frequency_hz: Float
    top_hz: float
    n_fft: int
    arrivals_s: tuple[float, float]


def gate_pair(
    left: ImpulseResponse,
    right: ImpulseResponse,
    arrivals_s: tuple[float, float],
    gate_s: float,
    band_hz: tuple[float, float],
    *,
    n_noises: int,
) -> GatedPair:
    """Gate both responses and their noise."""
    rate_hz = left.sample_rate_hz
    n_fft = 2 ** math.ceil(math.log2(0.01 * rate_hz))
    frequency_hz = fft.rfftfreq(n_fft, 1 / rate_hz)
    gaps_hz = (*left.gaps_hz, *right.gaps_hz)
    inside = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    inside &= clean_bins_mask(frequency_hz, gaps_hz)
    top_hz = min(RATIO_BAND_HZ[1], left.band_hz[1] / 1.05, right.band_hz[1] / 1.05)
    spectra = tuple(
        gated_spectrum(response, at_s, gate_s, n_fft)
        for response, at_s in zip((left, right), arrivals_s, strict=True)
    )
    errors = tuple(
        gated_noise_spectra(response, gate_s, n_fft, most=n_noises) / (spectrum + 1e-15)
        for response, spectrum in zip((left, right), spectra, strict=True)
    )
    ratio = np.log((np.abs(spectra[0]) + 1e-15) / (np.abs(spectra[1]) + 1e-15))
    clean = clean_bins_mask(frequency_hz, gaps_hz)
    return GatedPair(
        spectra=(spectra[0], spectra[1]),
        errors=(errors[0], errors[1]),
        log_ratio=hold_outside_band(
            np.interp(frequency_hz, frequency_hz[clean], ratio[clean]), frequency_hz, top_hz
        ),
        inside=inside,
        frequency_hz=frequency_hz,
        top_hz=top_hz,
        n_fft=n_fft,
        arrivals_s=arrivals_s,
    )


def clean_bins_mask(frequency_hz: Float, gaps_hz: tuple[tuple[float, float], ...]) -> Mask:
    """Return which frequencies lie outside all gaps and what the gate smears of them."""
    clean = np.ones(frequency_hz.size, dtype=np.bool_)
    for low_hz, high_hz in gaps_hz:
        clean &= (frequency_hz < low_hz - SMEAR_HZ) | (frequency_hz > high_hz + SMEAR_HZ)
    return clean


def hold_outside_band(values: Float, frequency_hz: Float, top_hz: float) -> Float:
    """Hold values constant outside the band of the magnitude ratio."""
    first, last = np.searchsorted(frequency_hz, (RATIO_BAND_HZ[0], top_hz))
    constant = values.copy()
    constant[..., :first] = constant[..., first : first + 1]
    constant[..., last:] = constant[..., last - 1 : last]
    return constant


def minimum_phase(log_magnitude: Float, n_fft: int) -> Float:
    """Return the phase of the minimum-phase system with a given magnitude.

    Parameters
    ----------
    log_magnitude : ndarray, shape (..., n_fft // 2 + 1)
        Natural logarithm.

    Returns
    -------
    ndarray, shape (..., n_fft // 2 + 1)
        In radians.

    Examples
    --------
    Of a zero inside the unit circle, :math:`1 + z^{-1}/2`, which is minimum-phase:

    >>> response = fft.rfft([1.0, 0.5], 64)
    >>> phase = minimum_phase(np.log(np.abs(response)), 64)
    >>> bool(np.allclose(phase, np.angle(response)))
    True
    """
    cepstrum = fft.irfft(log_magnitude, n_fft, axis=-1)
    fold = np.zeros(n_fft)
    fold[0] = fold[n_fft // 2] = 1
    fold[1 : n_fft // 2] = 2
    return fft.rfft(cepstrum * fold, axis=-1).imag


def ratio_phase(gated: GatedPair, log_ratio: Float) -> Float:
    r"""Return the minimum phase of a ratio, with what its slope predicts above the band.

    Notes
    -----
    Far below a corner at :math:`\omega_c`, a log magnitude that goes on above it as
    :math:`S (1 - (\omega_c/\omega)^p)/p` adds the phase
    :math:`2 S \omega / (\pi \omega_c (p + 1))` (Hilbert transform, first order).
    """
    frequency_hz = gated.frequency_hz
    near = (frequency_hz >= 0.62 * gated.top_hz) & (frequency_hz <= gated.top_hz)
    octave = np.log(frequency_hz[near])
    octave -= octave.mean()
    slope = log_ratio[..., near] @ octave / float((octave**2).sum())
    lead = 2 * slope / (np.pi * gated.top_hz * (SLOPE_FADES + 1))
    return minimum_phase(log_ratio, gated.n_fft) + np.multiply.outer(lead, frequency_hz)


def beam_part(gated: GatedPair) -> Float:
    r"""Return the part of the logarithmic magnitude ratio that unlike aims would give.

    Notes
    -----
    A piston of radius a, seen at an angle, loses :math:`(ka \sin\theta)^2/8` neper to first
    order, without any phase, so two that are aimed unlike part with the square of frequency.
    A loudspeaker whose upper corner differs parts much like that, but with phase.
    """
    frequency_hz = gated.frequency_hz
    seen = (frequency_hz >= RATIO_BAND_HZ[0]) & (frequency_hz <= gated.top_hz)
    square = (frequency_hz / gated.top_hz) ** 2
    apart = square[seen] - square[seen].mean()
    slope = float(np.sum(apart * gated.log_ratio[seen]) / np.sum(apart**2))
    return hold_outside_band(slope * square, frequency_hz, gated.top_hz)


def phase_errors(gated: GatedPair, error: Complex, share: float) -> Float:
    """Return what noise does to the phase that is fitted, at many places."""
    amplitude = hold_outside_band(error.real, gated.frequency_hz, gated.top_hz)
    return (error.imag - share * ratio_phase(gated, amplitude))[:, gated.inside]
