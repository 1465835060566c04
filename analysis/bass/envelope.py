"""The envelope of the narrow band at one frequency of a bass curve, for the eye.

Conventions: times in seconds from the first sound; levels in dB against the envelope's
highest. The filter is the bell-shaped one of `analysis.bass.decay`, zero-phase, as wide as the
neighbouring peaks allow; its own ringing is over ``START_SIGMAS`` of its spread after the
first sound, and a fit begins there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft

from analysis.basics.arrays import Float, freeze
from analysis.basics.decibel import power_db
from analysis.basics.local_maxima import find_local_maxima
from analysis.bass.curve import BassCurve
from analysis.bass.decay import (
    NEIGHBOUR_DB,
    NEIGHBOUR_SIGMAS,
    SPREAD_SHARE,
    SPREADS_HZ,
    START_SIGMAS,
)

ABOVE_NOISE_DB: Final = 10.0
"""A decay's line is placed over the part of the envelope so far above the noise."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BandEnvelope:
    """How the band at one frequency rises and decays.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        From the first sound, in seconds.
    level_db : ndarray, shape (n,)
    noise_db : float
        Expected level of the noise in the band, in dB.
    fit_from_s : float
        When the filter's own response is over, in seconds.
    """

    frequency_hz: float
    time_s: Float
    level_db: Float
    noise_db: float
    fit_from_s: float

    def __post_init__(self) -> None:
        for name in ("time_s", "level_db"):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name))

    def decay_line(self, decay_s: float) -> tuple[Float, Float]:
        """Return time and level of a straight decay, placed on the envelope.

        Parameters
        ----------
        decay_s : float
            Time for 60 dB, above 0, in seconds.

        Returns
        -------
        time_s, level_db : ndarray, shape (2,)
            From where the fit begins to where it meets the noise.

        Raises
        ------
        ValueError
            If the time isn't above 0.
        """
        if not decay_s > 0:
            msg = f"decay_s {decay_s} must lie above 0"
            raise ValueError(msg)
        slope = -60 / decay_s
        after = self.time_s >= self.fit_from_s
        quiet = np.flatnonzero(after & (self.level_db < self.noise_db + ABOVE_NOISE_DB))
        used = after & (np.arange(self.time_s.size) < (quiet[0] if quiet.size else after.size))
        if not np.any(used):
            used = after & (self.time_s <= self.fit_from_s + 0.05)
        at_zero = float(np.mean(self.level_db[used] - slope * self.time_s[used]))
        end_s = max((self.noise_db - at_zero) / slope, self.fit_from_s)
        time_s = np.array([self.fit_from_s, min(end_s, float(self.time_s[-1]))])
        return time_s, at_zero + slope * time_s


def band_envelope(curve: BassCurve, frequency_hz: float) -> BandEnvelope:
    """Return the envelope of the band at a frequency of a bass curve.

    Parameters
    ----------
    frequency_hz : float
        Inside the curve's band, in Hz.

    Raises
    ------
    ValueError
        If the frequency lies outside.
    """
    if not curve.band_hz[0] <= frequency_hz <= curve.band_hz[1]:
        msg = f"frequency_hz {frequency_hz} must lie inside {curve.band_hz} Hz"
        raise ValueError(msg)
    low = curve.low_band
    spread_hz = _spread_hz(curve, frequency_hz)
    bins_hz = fft.rfftfreq(low.n_fft, 1 / low.sample_rate_hz)
    gain = np.exp(-0.5 * ((bins_hz - frequency_hz) / spread_hz) ** 2)
    one_sided = np.zeros(low.n_fft, dtype=np.complex128)
    one_sided[: bins_hz.size] = gain * fft.rfft(low.samples, low.n_fft)
    power = np.abs(fft.ifft(one_sided)[: low.samples.size]) ** 2
    density = low.noise_density(np.array([frequency_hz]), window=np.ones(low.samples.size))
    # Parseval: a bin holds the density times n_fft of unit-energy samples.
    noise_power = float(density[0]) * float(np.sum(gain**2)) / low.n_fft
    inside = (low.time_s >= low.data_s[0]) & (low.time_s <= low.data_s[1])
    top_db = float(power_db(power.max()))
    return BandEnvelope(
        frequency_hz=frequency_hz,
        time_s=low.time_s[inside] - low.onset_s,
        level_db=power_db(power[inside]) - top_db,
        noise_db=float(power_db(noise_power)) - top_db,
        fit_from_s=START_SIGMAS / (2 * math.pi * spread_hz),
    )


def _spread_hz(curve: BassCurve, frequency_hz: float) -> float:
    """Return the filter's spread, as `analysis.bass.decay` takes it."""
    maxima = find_local_maxima(curve.level_db, prominence=NEIGHBOUR_DB)
    distance_hz = np.abs(curve.frequency_hz[maxima.indices] - frequency_hz)
    distance_hz = distance_hz[distance_hz > 2 * curve.spacing_hz]
    nearest_hz = float(distance_hz.min()) if distance_hz.size else math.inf
    widest_hz = min(SPREADS_HZ[1], SPREAD_SHARE * frequency_hz)
    return min(max(nearest_hz / NEIGHBOUR_SIGMAS, SPREADS_HZ[0]), widest_hz)
