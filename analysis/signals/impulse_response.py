"""The impulse response of one loudspeaker at the microphone, with its noise.

Conventions: both loudspeakers of a reading share one time axis, whose zero is the
moment at which the sweep's first sample would have reached the microphone had it
stood at the player's output (an unknown constant latency is common to both).
Amplitude is recorded over played, so 0 dB is full scale in, full scale out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.basics.arrays import Float, freeze


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ImpulseResponse:
    """One loudspeaker's causal impulse response.

    Attributes
    ----------
    samples : ndarray, shape (n,)
        Mean over the repeats.
    start_s : float
        Time of ``samples[0]`` on the reading's common axis, in seconds.
    noise : ndarray, shape (m,)
        A stretch of noise alone, with the statistics of the noise in `samples`
        (half the difference of the repeats, or the quiet before the arrival);
        at least half a second long.
    band_hz : tuple of float
        Lowest and highest frequency that the sweep holds, in Hz.
    gaps_hz : tuple of (float, float)
        Frequency ranges inside `band_hz` for which no clean data was left.
    n_repeats : int
        How many passes are in the mean.
    """

    samples: Float
    sample_rate_hz: float
    start_s: float
    noise: Float
    band_hz: tuple[float, float]
    gaps_hz: tuple[tuple[float, float], ...] = ()
    n_repeats: int = 1

    def __post_init__(self) -> None:
        object.__setattr__(self, "samples", freeze(self.samples, name="samples"))
        object.__setattr__(self, "noise", freeze(self.noise, name="noise"))

    @property
    def time_s(self) -> Float:
        """Time of each sample on the common axis, in seconds."""
        return self.start_s + np.arange(self.samples.size) / self.sample_rate_hz
