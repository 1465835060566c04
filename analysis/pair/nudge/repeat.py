r"""What changed between two sweeps of one loudspeaker, half a second apart.

Conventions: later minus earlier, on the lag axis.

The direct sound is the same both times, but for a delay and a gain. What is left after both
were fitted is noise; where it is more than the noise before the arrivals predicts,
something sounded during one of the sweeps, or moved. The delay holds the clocks' drift and
the loudspeaker's own motion.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.pair.gated_pair import GATE_S
from analysis.pair.nudge.sweep import HeardSweep
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import gated_noise_spectra, gated_spectrum

N_FFT_S = 0.005
"""Bins of 200 Hz, where the gate resolves 1.25 kHz."""

BAND_HZ = (3000.0, 12_000.0)
"""Of the delay, as in `analysis.pair.arrival`."""

MISFIT_BAND_HZ = (1500.0, 16_000.0)
"""Of the misfit: what lies beside the band moves the figure too, by the minimum phase."""

REACH_S = 80e-6
STEP_S = 4e-6
"""The envelope's peak is right to less than the reach; a step is far less than the 40
microseconds of half a period at 12 kHz."""

SCATTER = 1.6
"""Ratio of misfit to expected power that noise alone exceeds once in some fifty times: the
gate leaves ten independent parts of the band, their sum scatters by a third."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepChange:
    """From one sweep of a side to its next.

    Attributes
    ----------
    shift_s : float
        Change of lag, in seconds.
    gain_db : float
        Change of level in the direct sound, in dB.
    excess : float
        Misfit beyond the noise, relative to the direct sound's amplitude.
    """

    shift_s: float
    gain_db: float
    excess: float


def sweep_change(earlier: HeardSweep, later: HeardSweep) -> SweepChange:
    """Return what changed from one sweep of a side to a later one.

    Parameters
    ----------
    earlier, later : HeardSweep
        Both with a response.

    Raises
    ------
    ValueError
        If one has no response, or the sides differ.
    """
    if earlier.response is None or later.response is None:
        msg = f"sweeps {earlier.index} and {later.index} must both have a response"
        raise ValueError(msg)
    if (earlier.index - later.index) % 2:
        msg = f"sweeps {earlier.index} and {later.index} must be of one side"
        raise ValueError(msg)
    rate_hz = earlier.response.sample_rate_hz
    n_fft = 2 ** math.ceil(math.log2(N_FFT_S * rate_hz))
    frequency_hz: Float = fft.rfftfreq(n_fft, 1 / rate_hz)
    inside = slice(*np.searchsorted(frequency_hz, BAND_HZ))
    omega: Float = 2 * np.pi * frequency_hz
    before = gated_spectrum(earlier.response, earlier.arrival_s, GATE_S, n_fft)
    shift_s = later.arrival_s - earlier.arrival_s
    for reach_s in (REACH_S, 0.0):
        # The second time both gates lie alike on the arrival, however it was found.
        placed_s = earlier.arrival_s + shift_s
        after = gated_spectrum(later.response, placed_s, GATE_S, n_fft)
        rest_s = _delay_s((after * np.conj(before))[inside], omega[inside], reach_s)
        shift_s += rest_s
    turned = after * np.exp(1j * omega * rest_s)
    wide = slice(*np.searchsorted(frequency_hz, MISFIT_BAND_HZ))
    gain, excess = _measure_misfit(
        turned[wide], before[wide], (later.response, earlier.response), wide
    )
    return SweepChange(
        shift_s=shift_s, gain_db=20 * math.log10(max(abs(gain), 1e-6)), excess=excess
    )


def _measure_misfit(
    after: Complex,
    before: Complex,
    responses: tuple[ImpulseResponse, ImpulseResponse],
    wide: slice,
) -> tuple[float, float]:
    """Return the gain from before to after, and what it leaves beyond the noise, relative."""
    gain = float((after * np.conj(before)).real.sum() / (np.abs(before) ** 2).sum())
    noise = sum(
        scale**2 * _noise_power(response, wide)
        for response, scale in zip(responses, (1.0, gain), strict=True)
    )
    power = float((np.abs(after) ** 2).sum())
    misfit = float((np.abs(after - gain * before) ** 2).sum())
    return gain, math.sqrt(max(misfit - SCATTER * noise, 0.0) / power)


def _delay_s(cross: Complex, omega: Float, reach_s: float) -> float:
    """Return the delay of a cross spectrum: roughly by trial, then by its phase's slope."""
    delay_s = 0.0
    if reach_s:
        trials_s = np.arange(-reach_s, reach_s + STEP_S, STEP_S)
        fits = (np.exp(1j * np.multiply.outer(trials_s, omega)) * cross).real.sum(axis=1)
        delay_s = float(trials_s[np.argmax(fits)])
    weight = np.abs(cross) * omega
    for _ in range(3):
        phase = np.angle(cross * np.exp(1j * omega * delay_s))
        delay_s -= float((weight * phase).sum() / (weight * omega).sum())
    return delay_s


def _noise_power(response: ImpulseResponse, wide: slice) -> float:
    """Return the power of the noise under the same gate, summed over the band."""
    n_fft = 2 ** math.ceil(math.log2(N_FFT_S * response.sample_rate_hz))
    spectra = gated_noise_spectra(response, GATE_S, n_fft, most=96)[:, wide]
    if not spectra.size:
        return 0.0
    return float((np.abs(spectra) ** 2).mean(axis=0).sum())
