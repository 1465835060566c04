"""The first reflections of an impulse response: when they come, and how strong they are.

Conventions: times are after the direct sound in seconds, levels against it in dB. Seen through
the envelope from 1 to 8 kHz, where a loudspeaker's own ringing is short, smoothed by a Gaussian
of `SMOOTH_S`. The envelope is the magnitude of the analytic signal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft
from scipy.ndimage import gaussian_filter1d

from analysis.basics.arrays import Float
from analysis.basics.decibel import power_db
from analysis.basics.local_maxima import find_local_maxima
from analysis.signals.impulse_response import ImpulseResponse

BAND_HZ: Final = (1000.0, 8000.0)
SMOOTH_S: Final = 1e-4
"""One sigma of the smoothing: two reflections 0.3 ms apart, 10 cm of path, stay two."""

FIRST_S: Final = 8e-4
"""Earlier ones can't be told from a loudspeaker's own edges. Common practice, no source."""

LAST_S: Final = 0.02
"""Later ones overlap in a room of a home: common practice, no source."""

LEAST_DB: Final = -30.0
LEAST_PROMINENCE_DB: Final = 3.0
MOST_REFLECTIONS: Final = 6
"""So many of the strongest are followed."""

WITHIN_S: Final = 1.5e-4
"""A reflection's level is the mean power so far to both sides of it."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class EarlyResponse:
    """The envelope about the direct sound, and the reflections in it.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        After the direct sound.
    power : ndarray, shape (n,)
        Of the envelope over that of the direct sound.
    times_s : tuple of float
        Of the strongest reflections, in their order in time.
    """

    time_s: Float
    power: Float
    times_s: tuple[float, ...]

    def level_db(self, at_s: float) -> float:
        """Return the level about a time after the direct sound, in dB against it."""
        first, last = np.searchsorted(self.time_s, (at_s - WITHIN_S, at_s + WITHIN_S))
        return float(power_db(self.power[first : max(int(last), int(first) + 1)].mean()))


def find_early_reflections(response: ImpulseResponse) -> EarlyResponse:
    """Return the first reflections of an impulse response."""
    rate_hz = response.sample_rate_hz
    power = _envelope_power(response.samples, rate_hz)
    direct = int(np.argmax(power))
    offset = _parabola_vertex(power, direct)
    reach = slice(direct, min(direct + round(LAST_S * rate_hz) + 1, power.size))
    time_s: Float = np.asarray(
        (np.arange(reach.stop - reach.start, dtype=np.float64) - offset) / rate_hz, dtype=np.float64
    )
    inside = power[reach] / power[direct]
    level_db = power_db(np.maximum(inside, 1e-12))
    found = find_local_maxima(level_db, prominence=LEAST_PROMINENCE_DB).indices
    found = found[(level_db[found] >= LEAST_DB) & (time_s[found] >= FIRST_S)]
    heights = level_db[found]
    kept = np.sort(found[np.argsort(-heights)[:MOST_REFLECTIONS]])
    times = tuple(float(time_s[k] + _parabola_vertex(inside, int(k)) / rate_hz) for k in kept)
    return EarlyResponse(time_s=time_s, power=inside, times_s=times)


def _envelope_power(samples: Float, rate_hz: float) -> Float:
    """Return the smoothed power of the band's analytic signal."""
    n = fft.next_fast_len(samples.size + round(0.05 * rate_hz))
    spectrum = np.asarray(fft.fft(samples, n))
    frequency_hz = fft.fftfreq(n, 1 / rate_hz)
    low, high = BAND_HZ
    octaves = (
        np.log2(np.maximum(frequency_hz, 1.0) / low),
        np.log2(high / np.maximum(frequency_hz, 1.0)),
    )
    gain = np.prod([0.5 - 0.5 * np.cos(np.pi * np.clip(o + 0.5, 0, 1)) for o in octaves], axis=0)
    analytic = fft.ifft(2 * spectrum * gain * (frequency_hz > 0))[: samples.size]
    return np.asarray(gaussian_filter1d(np.abs(analytic) ** 2, SMOOTH_S * rate_hz))


def _parabola_vertex(power: Float, at: int) -> float:
    """Return how far the vertex of the parabola through three samples is from the middle one."""
    if not 0 < at < power.size - 1:
        return 0.0
    left, middle, right = (float(power[at + step]) for step in (-1, 0, 1))
    curve = left - 2 * middle + right
    return 0.0 if curve >= 0 else max(-0.5, min(0.5, 0.5 * (left - right) / curve))
