r"""How much later one of two like responses is.

Conventions: positive where the first is later.

The delay between two responses h_a and h_b is where the sum of
:math:`\mathrm{Re}\,(H_a H_b^*\,e^{j\omega\tau})` peaks: the maximum-likelihood place
for white noise, and noise is white after deconvolution when the room's noise is pink
(a sweep's energy is). Its variance follows from what remains after alignment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float

FINE = 8
"""Lags tried a sample."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Delay:
    """Delay of one response against another.

    Attributes
    ----------
    delay_s, std_s : float
        Positive where the first is later; one sigma.
    coherence : float
        Normalised correlation after alignment, -1 to 1.
    """

    delay_s: float
    std_s: float
    coherence: float


def estimate_delay(first: Float, second: Float, *, sample_rate_hz: float) -> Delay:
    """Return how much later the first of two like responses is.

    Parameters
    ----------
    first, second : ndarray, shape (n,)
        The same stretch of two responses of one loudspeaker.

    Raises
    ------
    ValueError
        If the shapes differ.

    Examples
    --------
    A pulse three samples later:

    >>> pulse = np.zeros(64)
    >>> pulse[20] = 1.0
    >>> delay = estimate_delay(np.roll(pulse, 3), pulse, sample_rate_hz=1000)
    >>> round(delay.delay_s, 9), round(delay.coherence, 9)
    (0.003, 1.0)
    """
    if first.shape != second.shape:
        msg = f"shapes {first.shape} and {second.shape} differ"
        raise ValueError(msg)
    n_fft = fft.next_fast_len(2 * first.size, real=True)
    spectra = fft.rfft(np.stack((first, second)), n_fft)
    cross = spectra[0] * np.conj(spectra[1])
    # Between whole samples the wrong period of a high band may stand higher than the right.
    n_fine = FINE * n_fft
    at = int(np.argmax(fft.irfft(cross, n_fine)))
    lag = (at - n_fine if at > n_fine // 2 else at) / FINE
    omega = 2 * np.pi * fft.rfftfreq(n_fft, 1 / sample_rate_hz)
    delay_s = _climb_to_peak(cross, omega, lag / sample_rate_hz, sample_rate_hz)
    rotated = cross * np.exp(1j * omega * delay_s)
    energies = (np.abs(spectra) ** 2).sum(axis=1)
    joint = float(rotated.real.sum())
    coherence = joint / math.sqrt(float(energies.prod()) + 1e-300)
    # Noise of the difference, over the energy of the response's slope.
    noise = max(float(energies.sum()) - 2 * joint, 0.0) / (first.size * n_fft / 2)
    slope = float((omega**2 * np.maximum(rotated.real, 0)).sum()) / (n_fft / 2)
    return Delay(
        delay_s=delay_s,
        std_s=math.sqrt(noise / (slope + 1e-300)),
        coherence=coherence,
    )


def _climb_to_peak(cross: Complex, omega: Float, start_s: float, sample_rate_hz: float) -> float:
    """Climb from the best whole sample to the correlation's peak by Newton's steps."""
    delay_s = start_s
    for _ in range(6):
        rotated = cross * np.exp(1j * omega * delay_s)
        gradient = float((omega * -rotated.imag).sum())
        curvature = float((omega**2 * -rotated.real).sum())
        if curvature >= 0:
            break
        step_s = -gradient / curvature
        step_s = float(np.clip(step_s, -0.5 / sample_rate_hz, 0.5 / sample_rate_hz))
        delay_s += step_s
        if abs(step_s) < 1e-13:
            break
    return delay_s
