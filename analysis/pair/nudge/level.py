"""How much louder one loudspeaker's direct sound is, from two short responses.

Conventions: left minus right, positive where left is louder. Power mean over 1.25 to 8 kHz
with equal weight per octave, less the noise's power, under the gate of the arrival: the
quantity of `analysis.pair.level`'s direct sound, without its bands, in a tenth of the time.
"""

from __future__ import annotations

import math

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Float
from analysis.pair.gated_pair import GATE_S
from analysis.pair.level import MOST_STD_DB, TOP_HZ
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import gated_noise_spectra, gated_spectrum

N_FFT_S = 0.005
"""Bins of 200 Hz at most, where the gate resolves 1.25 kHz."""


def direct_level_difference(
    left: ImpulseResponse, right: ImpulseResponse, *, left_s: float, right_s: float
) -> tuple[float, float] | None:
    """Return the level difference of the direct sound and its sigma.

    Parameters
    ----------
    left, right : ImpulseResponse
        With the noise that is in them.
    left_s, right_s : float
        Their arrivals, each on its own axis, in seconds.

    Returns
    -------
    tuple of float, or None
        Left minus right and one sigma of it, in dB; None where noise hides it.
    """
    sides = [_direct_power(left, left_s), _direct_power(right, right_s)]
    if any(power <= 0 for power, _ in sides):
        return None
    per_db = 10 / math.log(10)
    std_db = per_db * math.hypot(*(std / power for power, std in sides))
    if not std_db < MOST_STD_DB:
        return None
    return 10 * math.log10(sides[0][0] / sides[1][0]), std_db


def _direct_power(response: ImpulseResponse, arrival_s: float) -> tuple[float, float]:
    """Return the weighted power of the direct sound alone, and one sigma of it."""
    rate_hz = response.sample_rate_hz
    n_fft = 2 ** math.ceil(math.log2(N_FFT_S * rate_hz))
    frequency_hz = fft.rfftfreq(n_fft, 1 / rate_hz)
    inside = slice(*np.searchsorted(frequency_hz, (1 / GATE_S, TOP_HZ)))
    weight: Float = 1 / frequency_hz[inside]
    spectrum = gated_spectrum(response, arrival_s, GATE_S, n_fft)[inside]
    noise = gated_noise_spectra(response, GATE_S, n_fft, most=96)[:, inside]
    power = float((weight * np.abs(spectrum) ** 2).sum())
    if not noise.size:
        return power, 0.0
    noises = (weight * np.abs(noise) ** 2).sum(axis=1)
    crossed = 2 * (weight * (np.conj(spectrum) * noise).real).sum(axis=1)
    std = math.sqrt(float(np.mean(crossed**2)) + float(np.var(noises)))
    return power - float(noises.mean()), std
