"""The noise of the simulated room: pink, with a little hum, without end.

Conventions: levels are RMS in dB re full scale. Pink noise comes in segments shaped in
frequency, each faded into the next by windows whose squares add up to 1, so its power is
the same at all times and nothing ever repeats. Below `PINK_FROM_HZ` it is flat: noise that
rises for ever would have no RMS to speak of.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from analysis.basics.arrays import Float

PINK_FROM_HZ: Final = 10.0

_HOP_S: Final = 0.7
_HUM: Final = ((1, 1.0), (2, 0.5), (3, 0.3))
"""Harmonics of the mains frequency and their amplitudes. Common practice, no source."""


class SimulatedNoise:
    """Noise to be taken piece by piece.

    Parameters
    ----------
    sample_rate_hz : int
    noise_dbfs, hum_dbfs : float
        RMS of the pink noise and of the hum; minus infinity for none.
    mains_hz : float
    rng : numpy.random.Generator
    """

    def __init__(
        self,
        sample_rate_hz: int,
        *,
        noise_dbfs: float,
        hum_dbfs: float,
        mains_hz: float,
        rng: np.random.Generator,
    ) -> None:
        self._rng = rng
        self._rate_hz = sample_rate_hz
        self._hop = fft.next_fast_len(round(_HOP_S * sample_rate_hz), real=True)
        frequency_hz = fft.rfftfreq(2 * self._hop, 1 / sample_rate_hz)
        shape = 1 / np.sqrt(np.maximum(frequency_hz, PINK_FROM_HZ))
        shape[[0, -1]] = 0
        # Of a spectrum of unit normal real and imaginary parts, the RMS is the norm.
        self._shape = shape * 10 ** (noise_dbfs / 20) * self._hop / np.sqrt(np.sum(shape**2))
        self._window = np.sin(np.pi * (np.arange(2 * self._hop) + 0.5) / (2 * self._hop))
        self._fading = self._segment()[self._hop :]
        self._ready: Float = np.zeros(0)
        amplitudes = np.array([amplitude for _, amplitude in _HUM])
        self._hum = 10 ** (hum_dbfs / 20) * amplitudes / np.sqrt(np.sum(amplitudes**2) / 2)
        self._hum_hz = mains_hz * np.array([number for number, _ in _HUM])
        self._n_taken = 0

    def take(self, n_samples: int) -> Float:
        """Return the next samples, shape (n_samples,)."""
        while self._ready.size < n_samples:
            segment = self._segment()
            self._ready = np.concatenate((self._ready, self._fading + segment[: self._hop]))
            self._fading = segment[self._hop :]
        taken, self._ready = self._ready[:n_samples], self._ready[n_samples:]
        time_s = (self._n_taken + np.arange(n_samples)) / self._rate_hz
        self._n_taken += n_samples
        return np.asarray(taken + self._hum @ np.sin(2 * np.pi * np.outer(self._hum_hz, time_s)))

    def burst(self, n_samples: int) -> Float:
        """Return samples of white noise with an RMS of 1, for a noise in the room."""
        return self._rng.standard_normal(n_samples)

    def _segment(self) -> NDArray[np.float64]:
        """Return a windowed piece of pink noise, two hops long."""
        real, imaginary = self._rng.standard_normal((2, self._shape.size))
        return np.asarray(
            self._window * fft.irfft(self._shape * (real + 1j * imaginary), 2 * self._hop)
        )
