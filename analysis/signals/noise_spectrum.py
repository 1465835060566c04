r"""How strong a stretch of noise is at each frequency: two estimates of its density.

Conventions: the density is the expected squared magnitude of the noise seen through
a window of unit energy, :math:`S = E|\sum_n v_n n_n e^{-i\omega n}|^2` with
:math:`\sum v_n^2 = 1`, so through any window :math:`w` it is :math:`S \sum w_n^2`
and for white noise it is the variance.

For the bass, where half a second of noise gives few bins and mains hum matters, the density
is a multitaper estimate with sine tapers, then a running median over
``SMOOTHING_HZ`` or more: noise itself changes slowly with frequency, and a median passes over
a line (mains hum). Where the unsmoothed estimate stands out beyond chance there is a
line, and it is kept, scaled for a tone: the power of a tone grows with the square of
the window's length, that of noise with the length. Above the bass, where windows are short and
bins are many, it is Welch's mean over Hann windows that overlap by half.

References
----------
K. S. Riedel, A. Sidorenko, "Minimum bias multiple taper spectral estimation", IEEE
Trans. Signal Processing 43 (1995) 188-195: sine tapers (from memory).
P. D. Welch, "The use of fast Fourier transform for the estimation of power spectra",
IEEE Trans. Audio Electroacoustics 15 (1967) 70-73 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft
from scipy.ndimage import median_filter
from scipy.special import gammaincinv

from analysis.basics.arrays import Float, freeze

N_TAPERS: Final = 4
"""Eight degrees of freedom a bin; for half a second, bins 10 Hz wide."""

SMOOTHING_HZ: Final = 12.0
SMOOTHING_LINES: Final = 3.0
"""Width of the running median, at least so many times the width of a line in the tapers,
which is ``N_TAPERS + 1`` over the length: a line must not fill the median."""

_LINE_CHANCE: Final = 1e-4
"""Chance that noise without a line passes for one, in one bin."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class NoiseDensity:
    """Noise of one stretch: a smooth part, and lines that stand out of it.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        From 0 up, in Hz.
    smooth : ndarray, shape (n,)
        Density of the noise without lines.
    lines : ndarray, shape (n,)
        Density at the lines, as the tapers saw it; 0 elsewhere.
    tone_share : float
        Mean squared sum of the tapers: what they let through of a tone's power.
    """

    frequency_hz: Float
    smooth: Float
    lines: Float
    tone_share: float

    def __post_init__(self) -> None:
        for name in ("frequency_hz", "smooth", "lines"):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name))

    def through(self, window: Float) -> Float:
        """Return the density that a window of shape (m,) would see, shape (n,)."""
        energy = max(float(np.sum(window**2)), 1e-300)
        gain = max(1.0, float(np.sum(window)) ** 2 / energy / self.tone_share)
        return np.where(self.lines > 0, self.lines * gain, self.smooth)


def multitaper_noise_density(noise: Float, sample_rate_hz: float) -> NoiseDensity:
    """Return the density of a stretch of noise.

    Parameters
    ----------
    noise : ndarray, shape (n,)
        At least half a second.
    """
    tapers = sine_tapers(noise.size)
    n_fft = fft.next_fast_len(2 * noise.size, real=True)
    transform = fft.rfft(tapers * (noise - noise.mean()), n_fft)
    power = np.mean(transform.real**2 + transform.imag**2, axis=0)
    spacing_hz = sample_rate_hz / n_fft
    median_share = float(gammaincinv(N_TAPERS, 0.5)) / N_TAPERS
    line_hz = (N_TAPERS + 1) * sample_rate_hz / noise.size
    width_hz = max(SMOOTHING_HZ, SMOOTHING_LINES * line_hz)
    n_smoothed = min(max(3, round(width_hz / spacing_hz)), power.size)
    smooth = median_filter(power, size=n_smoothed, mode="nearest") / median_share
    chance_share = float(gammaincinv(N_TAPERS, 1 - _LINE_CHANCE)) / N_TAPERS
    return NoiseDensity(
        frequency_hz=np.arange(power.size) * spacing_hz,
        smooth=smooth,
        lines=np.where(power > chance_share * smooth, power, 0.0),
        tone_share=float(np.mean(np.sum(tapers, axis=1) ** 2)),
    )


def sine_tapers(n_samples: int) -> Float:
    """Return the first sine tapers, shape (``N_TAPERS``, `n_samples`), of unit energy.

    Examples
    --------
    >>> tapers = sine_tapers(100)
    >>> bool(np.allclose(tapers @ tapers.T, np.eye(N_TAPERS)))
    True
    """
    order = np.arange(1, N_TAPERS + 1)[:, None]
    phase = np.pi * order * np.arange(1, n_samples + 1) / (n_samples + 1)
    return np.asarray(np.sqrt(2 / (n_samples + 1)) * np.sin(phase))


def welch_noise_density(
    noise: Float, frequency_hz: Float, *, sample_rate_hz: float, block: int
) -> Float:
    """Return the density of noise by Welch's method: Hann windows that overlap by half.

    Parameters
    ----------
    noise : ndarray, shape (m,)
        At least 3 samples.
    frequency_hz : ndarray, shape (n,)
        Where it is wanted, in Hz, from 0 to half the sampling frequency.
    block : int
        Length of a window, in samples, at least 3; bins are ``2 * sample_rate_hz / block``
        wide.

    Returns
    -------
    ndarray, shape (n,)
        Expected squared magnitude through a window of unit energy.

    Raises
    ------
    ValueError
        If the noise or the block is too short.

    Examples
    --------
    Of white noise it is the variance:

    >>> noise = 0.1 * np.random.default_rng(1).standard_normal(400_000)
    >>> at_hz = np.array([2000.0])
    >>> density = welch_noise_density(noise, at_hz, sample_rate_hz=48_000, block=64)
    >>> round(float(density[0]), 3)
    0.01
    """
    block = min(block, noise.size)
    if block < 3:
        msg = f"noise of {noise.size} samples and a block of {block} must both have at least 3"
        raise ValueError(msg)
    blocks = np.lib.stride_tricks.sliding_window_view(noise, block)[:: block // 2]
    taper = np.hanning(block)
    spectra = fft.rfft(blocks * taper, axis=-1)
    density = np.mean(spectra.real**2 + spectra.imag**2, axis=0) / np.sum(taper**2)
    return np.asarray(np.interp(frequency_hz, fft.rfftfreq(block, 1 / sample_rate_hz), density))
