r"""How strong a stretch of noise is at each frequency.

Conventions: the density is the expected squared magnitude of the noise seen through
a window of unit energy, :math:`S = E|\sum_n v_n n_n e^{-i\omega n}|^2` with
:math:`\sum v_n^2 = 1`, so through any window :math:`w` it is :math:`S \sum w_n^2`.

The density is a multitaper estimate with sine tapers, then a running median over
``SMOOTHING_HZ`` or more: noise itself changes slowly with frequency, and a median passes over
a line (mains hum). Where the unsmoothed estimate stands out beyond chance there is a
line, and it is kept, scaled for a tone: the power of a tone grows with the square of
the window's length, that of noise with the length.

References
----------
K. S. Riedel, A. Sidorenko, "Minimum bias multiple taper spectral estimation", IEEE
Trans. Signal Processing 43 (1995) 188-195: sine tapers (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft
from scipy.ndimage import median_filter
from scipy.special import gammaincinv

from analysis.basics.arrays import Float, frozen

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
            object.__setattr__(self, name, frozen(getattr(self, name), name=name))

    def through(self, window: Float) -> Float:
        """Return the density that a window of shape (m,) would see, shape (n,)."""
        energy = max(float(np.sum(window**2)), 1e-300)
        gain = max(1.0, float(np.sum(window)) ** 2 / energy / self.tone_share)
        return np.where(self.lines > 0, self.lines * gain, self.smooth)


def noise_density(noise: Float, sample_rate_hz: float) -> NoiseDensity:
    """Return the density of a stretch of noise.

    Parameters
    ----------
    noise : ndarray, shape (n,)
        At least half a second.
    sample_rate_hz : float

    Returns
    -------
    NoiseDensity
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
    """Return the first sine tapers, shape (``N_TAPERS``, `n_samples`), of unit energy."""
    order = np.arange(1, N_TAPERS + 1)[:, None]
    phase = np.pi * order * np.arange(1, n_samples + 1) / (n_samples + 1)
    return np.asarray(np.sqrt(2 / (n_samples + 1)) * np.sin(phase))
