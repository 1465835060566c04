"""The sweep's level over the noise at the microphone, by octave.

Conventions: levels in dB; the ratio is that of powers while the octave is swept.
"""

from __future__ import annotations

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Float
from analysis.recording.checks.check import Check
from analysis.recording.responses import SideResponse
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.programme import Programme

NOISY_DB, TOO_NOISY_DB = 12.0, -6.0
"""Sweep over noise in an octave. The deconvolution gains some 40 dB over the first 50 ms,
so 12 dB leaves the direct sound clean; at -6 dB bass windows hold as much noise."""

MOST_GAP = 0.3
"""An octave that lacks more than this share isn't judged."""

NOISE_OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Judged here; lower ones depend on how low the loudspeaker plays."""


def check_noise(snr_db: dict[float, float], withheld: str | None = None) -> Check:
    """Judge the sweep's level over the noise per octave, and whether it leaves the arrival.

    Parameters
    ----------
    snr_db : dict
        Octave centre in Hz to sweep over noise in dB, the worse loudspeaker.
    withheld : str, optional
        Why the responses leave no arrival.
    """
    check = _judge_octaves(snr_db)
    if withheld is None:
        return check
    advice = "sweep to 8 kHz or higher, and in quiet"
    detail = f"the arrival is withheld: {withheld} ({advice}); {check.detail}"
    return Check(name="noise", verdict="fail", detail=detail)


def _judge_octaves(snr_db: dict[float, float]) -> Check:
    """Judge the sweep's level over the noise per octave."""
    judged = {centre_hz: snr_db[centre_hz] for centre_hz in NOISE_OCTAVES_HZ if centre_hz in snr_db}
    listed = ", ".join(f"{centre_hz:.0f} Hz {value:.0f} dB" for centre_hz, value in judged.items())
    if not judged:
        return Check(name="noise", verdict="warn", detail="the sweep covers no octave to judge by")
    worst_hz = min(judged, key=lambda centre_hz: judged[centre_hz])
    worst_db = judged[worst_hz]
    if worst_db >= NOISY_DB:
        return Check(name="noise", verdict="pass", detail=f"sweep over noise: {listed}")
    verdict = "warn" if worst_db >= TOO_NOISY_DB else "fail"
    return Check(
        name="noise",
        verdict=verdict,
        detail=f"only {worst_db:.0f} dB of sweep over noise at {worst_hz:.0f} Hz ({listed}): "
        "switch off fans and heating, close the window, or make a longer sweep",
    )


def octave_snr_db(
    sides: tuple[SideResponse | None, ...], programme: Programme
) -> dict[float, float]:
    """Return the sweep's level over the noise at the microphone per octave, the worse side.

    Returns
    -------
    dict
        Octave centre in Hz to dB, for octaves wholly swept.

    Notes
    -----
    After deconvolution a response of energy E and a noise of power p a second stand as
    they did before it; the sweep spends one octave's time on the energy of an octave, so
    the ratio at the microphone is E / (p times that time).
    """
    octave_s = programme.sweep.duration_s / programme.sweep.octaves
    worst: dict[float, float] = {}
    for side in sides:
        if side is None:
            continue
        response = side.response
        rate_hz = response.sample_rate_hz
        signal = np.abs(fft.rfft(response.samples)) ** 2
        noise = np.abs(fft.rfft(response.noise)) ** 2 * response.n_repeats
        duration_s = response.noise.size / rate_hz
        for centre_hz in (16.0, 31.5, *NOISE_OCTAVES_HZ, 16000.0):
            low_hz, high_hz = centre_hz / np.sqrt(2), centre_hz * np.sqrt(2)
            if low_hz < programme.sweep.start_hz or high_hz > programme.sweep.stop_hz:
                continue
            if _gap_share(response, low_hz, high_hz) > MOST_GAP:
                continue
            power = _band_mean(noise, response.noise.size, rate_hz, low_hz, high_hz) / duration_s
            energy = _band_mean(signal, response.samples.size, rate_hz, low_hz, high_hz)
            energy = max(energy - power * response.samples.size / rate_hz / response.n_repeats, 0)
            ratio_db = 10 * np.log10((energy + 1e-30) / (power * octave_s + 1e-30))
            worst[centre_hz] = min(worst.get(centre_hz, np.inf), float(ratio_db))
    return worst


def _gap_share(response: ImpulseResponse, low_hz: float, high_hz: float) -> float:
    """Return the share of a band, in octaves, for which there is no clean data."""
    total = sum(
        max(np.log2(min(stop_hz, high_hz) / max(start_hz, low_hz)), 0.0)
        for start_hz, stop_hz in response.gaps_hz
    )
    return float(total / np.log2(high_hz / low_hz))


def _band_mean(
    power: Float, n_samples: int, sample_rate_hz: float, low_hz: float, high_hz: float
) -> float:
    """Return the mean of a spectrum between two frequencies."""
    first, last = (int(np.ceil(edge * n_samples / sample_rate_hz)) for edge in (low_hz, high_hz))
    return float(power[first : max(last, first + 1)].mean())
