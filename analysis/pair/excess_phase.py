"""The delay of a pair by the phase that its magnitudes don't explain.

Conventions: left minus right, positive where the left is later. The method is described
in `analysis.pair.arrival`, whose figure it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.pair.gated_pair import (
    N_NOISES,
    GatedPair,
    beam_part,
    gate_pair,
    phase_errors,
    ratio_phase,
)
from analysis.signals.impulse_response import ImpulseResponse

PRIOR = 0.2
"""Share of the noise's ripple that the loudspeakers' may have without being seen."""

BEND_PER_RIPPLE = 1.0
"""Size of the 1/omega term in the band's middle, radians per neper of ripple."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DelayFit:
    """A fitted delay, its noise, and what the magnitude ratio says of the loudspeakers.

    Attributes
    ----------
    delay_s, noise_std_s : float
    ripple : float
        Of the ratio in the fit's band, beyond noise, in neper.
    corrected : float
        Share of the ratio's minimum phase that was taken out.
    beam_s : float
        What was taken out with the part of the ratio that unlike aims would give.
    """

    delay_s: float
    noise_std_s: float
    ripple: float
    corrected: float
    beam_s: float


def fit_delay_twice(
    left: ImpulseResponse,
    right: ImpulseResponse,
    arrivals_s: tuple[float, float],
    gate_s: float,
    band_hz: tuple[float, float],
) -> tuple[GatedPair, DelayFit]:
    """Fit the delay; a second time with both gates placed by the first fit."""
    first = fit_delay(gate_pair(left, right, arrivals_s, gate_s, band_hz, n_noises=0))
    middle_s = (arrivals_s[0] + arrivals_s[1]) / 2
    # The gates at arrivals that differ by just the delay cut both responses alike.
    placed_s = (middle_s + first.delay_s / 2, middle_s - first.delay_s / 2)
    gated = gate_pair(left, right, placed_s, gate_s, band_hz, n_noises=N_NOISES)
    return gated, fit_delay(gated)


def fit_delay(gated: GatedPair) -> DelayFit:
    """Fit the delay, correcting for the loudspeakers only as far as noise lets them be seen."""
    inside = gated.inside
    omega = 2 * np.pi * gated.frequency_hz[inside]
    product = (gated.spectra[0] * np.conj(gated.spectra[1]))[inside]
    weight = np.abs(product) / float(np.abs(product).max())
    ripple = gated.log_ratio[inside] - np.average(gated.log_ratio[inside], weights=weight)
    measured = float(np.average(ripple**2, weights=weight))
    noise = sum(
        0.5 * float(np.average(np.mean(np.abs(error[:, inside]) ** 2, axis=0), weights=weight))
        for error in gated.errors
        if error.size
    )
    seen = max(measured - noise, 0.0)
    share = (seen + PRIOR * noise) / (seen + PRIOR * noise + noise + 1e-15)
    phase = share * ratio_phase(gated, gated.log_ratio)
    cross = product * np.exp(-1j * phase[inside])
    bend = _bend_share(gated, weight, omega, share, seen + PRIOR * noise)
    row = _delay_row(weight, omega, bend)
    delay_s = _coarse_delay_s(cross, gated)
    if float((cross * np.exp(1j * omega * delay_s)).real.sum()) < 0:
        # One of the two is wired the other way round: half a turn at every frequency.
        cross = -cross
    for _ in range(6):
        step_s = float(row @ np.angle(cross * np.exp(1j * omega * delay_s)))
        delay_s += step_s
        if abs(step_s) < 1e-15:
            break
    return DelayFit(
        delay_s=delay_s + gated.arrivals_s[0] - gated.arrivals_s[1],
        noise_std_s=_noise_std_s(gated, row, share),
        ripple=math.sqrt(seen),
        corrected=share,
        beam_s=share * float(row @ ratio_phase(gated, beam_part(gated))[inside]),
    )


def _delay_row(weight: Float, omega: Float, bend: float) -> Float:
    """Return the row that takes phase errors to the delay.

    `bend` from 0 to 1 says how far the 1/omega term is let in: the mean of a delay fitted
    with a prior on that term lies so far between the fits without and with it.
    """
    middle = float(omega.mean())
    root = np.sqrt(weight)
    design = np.stack((omega / middle, middle / omega), axis=1) * root[:, None]
    full = np.linalg.pinv(design)[0] * root
    alone = design[:, 0] * root / float((design[:, 0] ** 2).sum())
    return np.asarray(-(bend * full + (1 - bend) * alone) / middle)


def _bend_share(
    gated: GatedPair, weight: Float, omega: Float, share: float, possible: float
) -> float:
    """Return how far the noise lets the 1/omega term be told."""
    if not gated.errors[0].size:
        return 1.0
    middle = float(omega.mean())
    root = np.sqrt(weight)
    design = np.stack((omega / middle, middle / omega), axis=1) * root[:, None]
    row = np.linalg.pinv(design)[1] * root
    variance = sum(
        float(np.mean((phase_errors(gated, error, share) @ row) ** 2)) for error in gated.errors
    )
    prior = BEND_PER_RIPPLE**2 * possible
    return prior / (prior + variance + 1e-15)


def _coarse_delay_s(cross: Complex, gated: GatedPair) -> float:
    """Return the delay at the correlation's peak, to a quarter of a sample, in seconds."""
    n_fine = 4 * gated.n_fft
    spectrum = np.zeros(n_fine // 2 + 1, dtype=np.complex128)
    spectrum[: gated.inside.size][gated.inside] = cross
    analytic = np.zeros(n_fine, dtype=np.complex128)
    analytic[: spectrum.size] = spectrum
    heights = np.abs(fft.ifft(analytic))
    at = int(np.argmax(heights))
    lag = at - n_fine if at > n_fine // 2 else at
    # The last bin is half the sampling frequency, and a sample has four fine ones.
    return lag / (8 * float(gated.frequency_hz[-1]))


def _noise_std_s(gated: GatedPair, row: Float, share: float) -> float:
    """Propagate the noise under the gate, at many places, to the delay."""
    variance = 0.0
    for error in gated.errors:
        if error.shape[0] >= 8:
            errors_s = phase_errors(gated, error, share) @ row
            variance += float(np.mean(errors_s**2))
    return math.sqrt(variance)
