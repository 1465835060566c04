r"""The low band of an impulse response, at a rate at which all bass work is cheap.

Conventions: times in seconds on the reading's common axis; the last axis is time.
Going down to ``RATE_HZ`` is done on the spectrum, whose bins below ``PASS_HZ`` are
kept untouched: no ripple, no phase. The transform of the samples is the transfer
function itself, recorded over played, at either rate.

Two loudspeakers that play together are the sum of their responses where each stands
on the common axis; a difference of start, also of a part of a sample, is kept by a
linear phase. Their noises come from different passes, so their powers add.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from scipy import fft

from analysis.basics.arrays import Complex, Float, freeze
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.noise_spectrum import NoiseDensity, multitaper_noise_density

RATE_HZ: Final = 3000.0
"""Sampling frequency of the low band: 2.1 times its upper end."""

PASS_HZ: Final = 1100.0
"""Untouched up to here: the 200 to 1000 Hz mean that bass is compared with lies inside."""

STOP_HZ: Final = 1400.0
"""Nothing left from here; the half cosine between keeps the ringing under 10 ms."""

PAD_S: Final = 0.1
"""Zeros before and after, into which the filter may ring."""

_GRID_S: Final = 4.0
"""Length of the bass transforms or a multiple of it: bins at most 0.25 Hz apart."""

_ONSET_DB: Final = -20.0
"""The first sound is the first sample so far below the strongest one."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LowBand:
    """One loudspeaker's response, or the sum of several, below some 1 kHz.

    Attributes
    ----------
    samples : ndarray, shape (n,)
        Amplitude recorded over played, scaled so that the sum over the samples
        times the complex exponential is the transfer function.
    start_s : float
        Time of ``samples[0]`` on the common axis, in seconds.
    data_s : tuple of float
        From when to when all responses have data, in seconds on that axis.
    noises : tuple of NoiseDensity
        The noise of each loudspeaker's response, independent of each other.
    band_hz : tuple of float
        Lowest and highest frequency that the sweeps hold, in Hz.
    gaps_hz : tuple of (float, float)
        Ranges inside it for which some response has no clean data, in Hz.
    onset_s : float
        When the first sound arrives, to some 10 ms, in seconds.
    """

    samples: Float
    sample_rate_hz: float
    start_s: float
    data_s: tuple[float, float]
    noises: tuple[NoiseDensity, ...]
    band_hz: tuple[float, float]
    gaps_hz: tuple[tuple[float, float], ...]
    onset_s: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "samples", freeze(self.samples, name="samples"))
        level = np.abs(self.samples)
        threshold = level.max() * 10 ** (_ONSET_DB / 20)
        first = int(np.argmax(level >= threshold)) if threshold > 0 else 0
        object.__setattr__(self, "onset_s", self.start_s + first / self.sample_rate_hz)

    @property
    def time_s(self) -> Float:
        """Time of each sample on the common axis, in seconds."""
        return self.start_s + np.arange(self.samples.size) / self.sample_rate_hz

    @property
    def n_fft(self) -> int:
        """Length of the bass transforms, in samples; bins at most 0.25 Hz apart."""
        grid = _GRID_S * self.sample_rate_hz
        return round(math.ceil(self.samples.size / grid) * grid)

    def noise_density(self, frequency_hz: Float, *, window: Float) -> Float:
        """Return the expected squared magnitude of the noise for a window of unit energy.

        Parameters
        ----------
        frequency_hz : ndarray, shape (n,)
            In Hz.
        window : ndarray, shape (m,)
            The window through which it will be seen; matters for lines only.

        Returns
        -------
        ndarray, shape (n,)
            Summed over the loudspeakers.
        """
        parts = (
            np.interp(frequency_hz, noise.frequency_hz, noise.through(window))
            for noise in self.noises
        )
        return np.asarray(sum(parts))


def low_band(*responses: ImpulseResponse) -> LowBand:
    """Return the low band of a response, or of several that sound at once.

    Parameters
    ----------
    *responses : ImpulseResponse
        One loudspeaker, or left and right for both together; of one sampling
        frequency above ``RATE_HZ``, on one common time axis.

    Raises
    ------
    ValueError
        If there is none, or the sampling frequencies differ or are too low.
    """
    rate_hz = _common_rate_hz(responses)
    begin_s = min(response.start_s for response in responses) - PAD_S
    ends_s = [r.start_s + r.samples.size / rate_hz for r in responses]
    n_half_seconds = math.ceil(2 * (max(ends_s) + PAD_S - begin_s))
    n_long = round(n_half_seconds * rate_hz / 2)
    total = sum(
        _low_spectrum(r.samples, rate_hz, n_long=n_long, delay_s=r.start_s - begin_s)
        for r in responses
    )
    n_short = round(n_half_seconds * RATE_HZ / 2)
    return LowBand(
        samples=fft.irfft(_pad_spectrum(np.asarray(total), n_short), n_short),
        sample_rate_hz=rate_hz * n_short / n_long,
        start_s=begin_s,
        data_s=(max(r.start_s for r in responses), min(ends_s)),
        noises=tuple(_low_noise(r) for r in responses),
        band_hz=(max(r.band_hz[0] for r in responses), min(r.band_hz[1] for r in responses)),
        gaps_hz=tuple(gap for r in responses for gap in r.gaps_hz),
    )


def _common_rate_hz(responses: Sequence[ImpulseResponse]) -> float:
    """Return the sampling frequency that all share."""
    rates = sorted({response.sample_rate_hz for response in responses})
    if len(rates) != 1 or rates[0] <= RATE_HZ:
        msg = f"sampling frequencies {rates} Hz must be a single one above {RATE_HZ:g} Hz"
        raise ValueError(msg)
    return rates[0]


def _low_spectrum(samples: Float, rate_hz: float, *, n_long: int, delay_s: float) -> Complex:
    """Return the bins below ``STOP_HZ`` of samples that start `delay_s` into the transform."""
    n_bins = min(math.ceil(STOP_HZ * n_long / rate_hz), n_long // 2) + 1
    frequency_hz = np.arange(n_bins) * rate_hz / n_long
    share = np.clip((frequency_hz - PASS_HZ) / (STOP_HZ - PASS_HZ), 0, 1)
    taper = 0.5 + 0.5 * np.cos(np.pi * share)
    shift = np.exp(-2j * np.pi * frequency_hz * delay_s)
    return np.asarray(fft.rfft(samples, n_long)[:n_bins] * taper * shift)


def _pad_spectrum(spectrum: Complex, n_short: int) -> Complex:
    """Return a one-sided spectrum filled up with zeros for an inverse of `n_short` samples."""
    padded = np.zeros(n_short // 2 + 1, dtype=np.complex128)
    padded[: spectrum.size] = spectrum
    return padded


def _low_noise(response: ImpulseResponse) -> NoiseDensity:
    """Return the density of the noise, taken at the low rate."""
    noise, rate_hz = response.noise, response.sample_rate_hz
    n_half_seconds = math.ceil(2 * noise.size / rate_hz)
    n_long = round(n_half_seconds * rate_hz / 2)
    n_short = round(n_half_seconds * RATE_HZ / 2)
    spectrum = _low_spectrum(noise, rate_hz, n_long=n_long, delay_s=0.0)
    low = fft.irfft(_pad_spectrum(spectrum, n_short), n_short)
    n_kept = max(1, int(noise.size * n_short / n_long))
    return multitaper_noise_density(low[:n_kept], rate_hz * n_short / n_long)


def resample(samples: Float, from_hz: float, to_hz: float) -> Float:
    """Return samples at another sampling frequency, by a linear-phase resampler.

    Parameters
    ----------
    samples : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (m,)
    """
    if from_hz == to_hz:
        return samples
    import soxr

    return np.asarray(soxr.resample(samples, from_hz, to_hz, quality="VHQ"), dtype=np.float64)
