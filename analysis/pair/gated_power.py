"""The power of a gated response, what noise does to it, and shares of a band.

Conventions: seconds from the arrival; power per bin, less that of the noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft

from analysis.basics.arrays import Float
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.noise_spectrum import welch_noise_density

RISE_S: Final = 2.5e-4
"""The window opens this long before the arrival, for the band limit's ringing."""

FALL: Final = 0.25
"""Share of the window in which it closes."""

NOISE_BLOCK: Final = 2048


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class GatedPower:
    """One side's windowed power and what noise does to it.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n_bins,)
    power, variance : ndarray, shape (n_bins,)
        Of each bin: power less that of the noise, and its variance.
    shared_bins : float
        How many neighbouring bins share one value of the noise.
    """

    frequency_hz: Float
    power: Float
    variance: Float
    shared_bins: float


def gate_window(time_s: Float, length_s: float) -> Float:
    """Return the gate at times from the arrival: opens just before, closes softly.

    Parameters
    ----------
    time_s : ndarray
        Seconds after the arrival.
    length_s : float
        When the gate is shut, in seconds after the arrival.

    Returns
    -------
    ndarray
        From 0 to 1.
    """
    rise = np.clip((time_s + RISE_S) / (0.5 * RISE_S), 0, 1)
    fall = np.clip((length_s - time_s) / (FALL * length_s), 0, 1)
    return np.asarray(np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2)


def gated_power(side: ImpulseResponse, at_s: float, length_s: float) -> GatedPower:
    """Return the power of a stretch from its arrival on, with what noise does to it."""
    rate_hz = side.sample_rate_hz
    first = max(math.ceil((at_s - RISE_S - side.start_s) * rate_hz), 0)
    last = min(math.floor((at_s + length_s - side.start_s) * rate_hz) + 1, side.samples.size)
    gate = gate_window(side.start_s + np.arange(first, last) / rate_hz - at_s, length_s)
    # Two bins or more to the gate's resolution, so that no band falls between bins; a sample
    # more or less in one side's gate makes no other length.
    n_gate = math.ceil((length_s + RISE_S) * rate_hz) + 1
    n_fft = fft.next_fast_len(max(2 * n_gate, 1024), real=True)
    spectrum = fft.rfft(side.samples[first:last] * gate, n_fft)
    frequency_hz = fft.rfftfreq(n_fft, 1 / rate_hz)
    power = spectrum.real**2 + spectrum.imag**2
    noise = np.sum(gate**2) * welch_noise_density(
        side.noise, frequency_hz, sample_rate_hz=rate_hz, block=NOISE_BLOCK
    )
    # A complex Gaussian added to a fixed value: Var|h + n|^2 = 2 |h|^2 N + N^2.
    clean = np.maximum(power - noise, 0)
    return GatedPower(
        frequency_hz=frequency_hz,
        power=power - noise,
        variance=2 * clean * noise + noise**2,
        shared_bins=n_fft * float(np.sum(gate**4) / np.sum(gate**2) ** 2),
    )


def band_weights(
    frequency_hz: Float, band_hz: tuple[float, float], gaps_hz: tuple[tuple[float, float], ...]
) -> Float:
    """Return each bin's share of a band on a logarithmic axis; the whole band sums to 1."""
    step_hz = frequency_hz[1]
    lower = np.maximum(frequency_hz - step_hz / 2, step_hz / 2)
    upper = frequency_hz + step_hz / 2

    def span(low_hz: float, high_hz: float) -> Float:
        return np.asarray(np.log(np.clip(upper, low_hz, high_hz) / np.clip(lower, low_hz, high_hz)))

    total = span(*band_hz)
    for low_hz, high_hz in _merge_gaps(gaps_hz):
        low_hz, high_hz = max(low_hz, band_hz[0]), min(high_hz, band_hz[1])
        if low_hz < high_hz:
            total = total - span(low_hz, high_hz)
    return np.asarray(np.maximum(total, 0) / math.log(band_hz[1] / band_hz[0]))


def _merge_gaps(gaps_hz: tuple[tuple[float, float], ...]) -> list[tuple[float, float]]:
    """Return the gaps with those that overlap made one."""
    joined: list[tuple[float, float]] = []
    for low_hz, high_hz in sorted(gaps_hz):
        if joined and low_hz <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high_hz))
        else:
            joined.append((low_hz, high_hz))
    return joined
