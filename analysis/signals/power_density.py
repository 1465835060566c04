r"""The power of noise over frequency, from a stretch of it.

Conventions: the density is the expected squared magnitude of the noise seen through a
window of unit energy, :math:`S = E|\sum_n v_n n_n e^{-i\omega n}|^2` with
:math:`\sum v_n^2 = 1`, so through any window :math:`w` it is :math:`S \sum w_n^2` and
for white noise it is the variance.

References
----------
P. D. Welch, "The use of fast Fourier transform for the estimation of power spectra",
IEEE Trans. Audio Electroacoustics 15 (1967) 70-73 (from memory).
"""

from __future__ import annotations

import numpy as np
from scipy import fft

from analysis.basics.arrays import Float


def power_density(noise: Float, frequency_hz: Float, *, sample_rate_hz: float, block: int) -> Float:
    """Return the density of noise by Welch's method: Hann windows that overlap by half.

    Parameters
    ----------
    noise : ndarray, shape (m,)
        At least 3 samples.
    frequency_hz : ndarray, shape (n,)
        Where it is wanted, in Hz, from 0 to half the sampling frequency.
    sample_rate_hz : float
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
