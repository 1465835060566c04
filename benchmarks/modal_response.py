r"""Responses made of damped oscillations, whose transfer function is a closed form.

Conventions: a mode is :math:`a\,e^{-\delta t}\cos(2\pi f t + \varphi)` from the onset
on, with :math:`\delta = 3 \ln 10 / T`, sampled. Summed without end, with
:math:`q = e^{(-\delta + 2\pi i f)/f_s}` and :math:`z = e^{-i\omega/f_s}`, its transform is

.. math:: \frac a2 \left(\frac{e^{i\varphi}}{1 - q z} + \frac{e^{-i\varphi}}{1 - q^* z}\right)

(a geometric series), times the delay of the onset. All of it is invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.signals.impulse_response import ImpulseResponse

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ModalResponse:
    """A sum of damped oscillations.

    Attributes
    ----------
    frequency_hz, decay_s, amplitude, phase : ndarray, shape (k,)
        Of each mode: frequency, time for 60 dB, amplitude and phase at the onset.
    sample_rate_hz : float
    onset_s : float
        On a whole sample.
    """

    frequency_hz: Float
    decay_s: Float
    amplitude: Float
    phase: Float
    sample_rate_hz: float = 48000.0
    onset_s: float = 0.01

    def samples(self, duration_s: float) -> Float:
        """Return the response sampled from time 0 on."""
        n_samples = round(duration_s * self.sample_rate_hz)
        first = round(self.onset_s * self.sample_rate_hz)
        time_s = np.arange(n_samples - first) / self.sample_rate_hz
        exponent = -3 * math.log(10) / self.decay_s + 2j * np.pi * self.frequency_hz
        sound = np.zeros(n_samples)
        for one, size, angle in zip(exponent, self.amplitude, self.phase, strict=True):
            sound[first:] += size * np.real(np.exp(one * time_s + 1j * angle))
        return sound

    def transfer(self, frequency_hz: Float) -> Complex:
        """Return the closed form of the transform at frequencies in Hz."""
        step = np.exp(-2j * np.pi * frequency_hz / self.sample_rate_hz)
        exponent = -3 * math.log(10) / self.decay_s + 2j * np.pi * self.frequency_hz
        total = np.zeros(frequency_hz.size, dtype=np.complex128)
        for one, size, angle in zip(exponent, self.amplitude, self.phase, strict=True):
            pole = np.exp(one / self.sample_rate_hz)
            turned = np.exp(1j * angle)
            total += size / 2 * (turned / (1 - pole * step) + 1 / turned / (1 - pole.conj() * step))
        return total * np.exp(-2j * np.pi * frequency_hz * self.onset_s)

    def impulse_response(
        self,
        rng: np.random.Generator,
        *,
        noise: float = 0.0,
        duration_s: float = 1.5,
        start_s: float = 0.0,
        band_hz: tuple[float, float] = (15.0, 22000.0),
    ) -> ImpulseResponse:
        """Return the response with white noise of an RMS of `noise`, and noise alone."""
        sound = self.samples(duration_s)
        return ImpulseResponse(
            samples=sound + noise * rng.standard_normal(sound.size),
            sample_rate_hz=self.sample_rate_hz,
            start_s=start_s,
            noise=noise * rng.standard_normal(sound.size),
            band_hz=band_hz,
        )

    def noise_for_snr(self, snr_db: float, duration_s: float = 1.5) -> float:
        """Return the RMS of white noise that lies `snr_db` below the highest bass peak.

        Both as spectra, that of the noise over `duration_s`.
        """
        peak = float(np.max(np.abs(self.transfer(np.arange(15, 300, 0.1)))))
        return peak * 10 ** (-snr_db / 20) / math.sqrt(duration_s * self.sample_rate_hz)


def modal_response(
    frequency_hz: list[float],
    decay_s: list[float] | float,
    amplitude: list[float] | float = 1.0,
    phase: list[float] | float = 0.0,
    **options: float,
) -> ModalResponse:
    """Return a modal response from lists, a single number standing for all modes."""
    n_modes = len(frequency_hz)
    given = {"decay_s": decay_s, "amplitude": amplitude, "phase": phase}
    arrays = {name: np.broadcast_to(np.array(v, float), (n_modes,)) for name, v in given.items()}
    return ModalResponse(frequency_hz=np.array(frequency_hz, float), **arrays, **options)


def random_modes(
    rng: np.random.Generator, *, spacing_hz: tuple[float, float] = (8.0, 20.0)
) -> ModalResponse:
    """Return modes from 20 to 250 Hz at random distances, decays, strengths and phases."""
    places = np.cumsum(rng.uniform(*spacing_hz, 500)) + 15.0
    places = places[places < 250]
    return ModalResponse(
        frequency_hz=places,
        decay_s=rng.uniform(0.2, 1.2, places.size),
        amplitude=rng.uniform(0.3, 1.0, places.size),
        phase=rng.uniform(0, 2 * np.pi, places.size),
    )
