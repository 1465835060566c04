r"""The exponential swept sine, in closed form.

Conventions: time starts at 0 where the phase starts; ``duration_s`` is the whole
length with its fades; a *clock ratio* is how many seconds the recorder counts in
one second of the player, so a recorder that runs fast has a ratio above 1.

The phase is :math:`2\pi f_1 L\,(e^{t/L} - 1)` with :math:`L = T/\ln(f_2/f_1)`,
so the k-th harmonic of a distorting loudspeaker deconvolves :math:`L \ln k`
before the linear response.

References
----------
A. Farina, "Simultaneous measurement of impulse response and distortion with a
swept-sine technique", 108th AES Convention, preprint 5093, 2000.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.basics.arrays import Float

FADE_IN_OCTAVES = 0.5
"""The first half octave rises from nothing: the ends don't ring and the first pass
starts softly."""

FADE_OUT_OCTAVES = 1 / 24
"""The last 1/24 octave falls to nothing: some 20 ms, so the stop makes no click."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sweep:
    """An exponential sweep; everything needed to make it again at any clock.

    Attributes
    ----------
    start_hz, stop_hz : float
        First and last instantaneous frequency, in Hz.
    duration_s : float
        Length with its fades, in seconds.
    level_dbfs : float
        Peak level, in dB re full scale.
    top_taper_db : float
        How much quieter the top octave ends than it starts, in dB, at least 0.
    """

    start_hz: float
    stop_hz: float
    duration_s: float
    level_dbfs: float
    top_taper_db: float = 6.0

    def __post_init__(self) -> None:
        if not 0 < self.start_hz < self.stop_hz:
            msg = f"start {self.start_hz} Hz must lie above 0 and below stop {self.stop_hz} Hz"
            raise ValueError(msg)
        if not (self.duration_s > 0 and math.isfinite(self.duration_s)):
            msg = f"duration {self.duration_s} s must be greater than zero"
            raise ValueError(msg)
        if not self.level_dbfs <= 0:
            msg = f"level {self.level_dbfs} dBFS must not lie above 0"
            raise ValueError(msg)
        if not 0 <= self.top_taper_db < 60:
            msg = f"top taper {self.top_taper_db} dB must lie from 0 to 60"
            raise ValueError(msg)

    @property
    def octaves(self) -> float:
        """Number of octaves swept.

        Examples
        --------
        >>> Sweep(start_hz=20.0, stop_hz=20480.0, duration_s=10.0, level_dbfs=-6.0).octaves
        10.0
        """
        return math.log2(self.stop_hz / self.start_hz)

    @property
    def growth_s(self) -> float:
        """The time L in which the frequency grows by e, in seconds."""
        return self.duration_s / math.log(self.stop_hz / self.start_hz)

    def time_at(self, frequency_hz: Float | float) -> Float:
        """Return when the sweep passes a frequency, in seconds from its start.

        Examples
        --------
        Ten octaves in ten seconds, so one octave takes a second:

        >>> sweep = Sweep(start_hz=20.0, stop_hz=20480.0, duration_s=10.0, level_dbfs=-6.0)
        >>> [round(float(sweep.time_at(hz)), 9) for hz in (20.0, 40.0, 20480.0)]
        [0.0, 1.0, 10.0]
        """
        return self.growth_s * np.log(np.asarray(frequency_hz, dtype=float) / self.start_hz)

    def frequency_at(self, time_s: Float | float) -> Float:
        """Return the instantaneous frequency at a time, in Hz (unbounded)."""
        return self.start_hz * np.exp(np.asarray(time_s, dtype=float) / self.growth_s)

    def harmonic_lead_s(self, order: int) -> float:
        """Return how long the `order`-th harmonic leads the linear response, in seconds.

        Examples
        --------
        The second harmonic leads by the time of one octave:

        >>> sweep = Sweep(start_hz=20.0, stop_hz=20480.0, duration_s=10.0, level_dbfs=-6.0)
        >>> round(sweep.harmonic_lead_s(2), 9)
        1.0
        """
        return self.growth_s * math.log(order)


def sweep_amplitude(sweep: Sweep, time_s: Float) -> Float:
    """Return the amplitude of the sweep at each time, 0 outside it.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Seconds from the start of the sweep, in the player's time.

    Returns
    -------
    ndarray, shape (n,)
        Linear amplitude; its largest value is ``10 ** (level_dbfs / 20)``.

    Examples
    --------
    Between its fades the sweep has its peak level, -6.02 dB re full scale:

    >>> sweep = Sweep(start_hz=20.0, stop_hz=20480.0, duration_s=10.0, level_dbfs=-6.0206)
    >>> sweep_amplitude(sweep, np.array([0.0, 5.0])).round(5).tolist()
    [0.0, 0.5]
    """
    octave_s = sweep.duration_s / sweep.octaves
    fade_in_s = min(FADE_IN_OCTAVES * octave_s, 0.25 * sweep.duration_s)
    fade_out_s = min(FADE_OUT_OCTAVES * octave_s, 0.25 * sweep.duration_s)
    left_s = sweep.duration_s - time_s
    amplitude = np.full(time_s.shape, 10 ** (sweep.level_dbfs / 20))
    # Most of the sweep is flat: only its ends need a cosine.
    rising, taper, falling = time_s < fade_in_s, left_s < octave_s, left_s < fade_out_s
    top = 0.5 + 0.5 * np.cos(np.pi * np.clip(left_s[taper] / octave_s, 0, 1))
    amplitude[taper] *= 10 ** (-sweep.top_taper_db * top / 20)
    for edge, share in ((rising, time_s / fade_in_s), (falling, left_s / fade_out_s)):
        amplitude[edge] *= 0.5 - 0.5 * np.cos(np.pi * np.clip(share[edge], 0, 1))
    return amplitude


def sweep_samples(
    sweep: Sweep,
    *,
    sample_rate_hz: float,
    clock_ratio: float = 1.0,
    advance_s: float = 0.0,
) -> Float:
    """Return the sweep as a recorder with its own clock would sample it.

    Parameters
    ----------
    sample_rate_hz : float
        Nominal sampling frequency, in Hz; must exceed twice the stop frequency.
    clock_ratio : float
        Recorder seconds per player second.
    advance_s : float
        The first sample falls this many recorder seconds into the sweep.

    Returns
    -------
    ndarray, shape (n,)
        From the first sample to the last inside the sweep.

    Raises
    ------
    ValueError
        If the stop frequency isn't below half the sampling frequency.

    Examples
    --------
    A recorder whose clock runs fast by one part in a thousand counts more samples:

    >>> sweep = Sweep(start_hz=20.0, stop_hz=2000.0, duration_s=1.0, level_dbfs=-6.0)
    >>> [sweep_samples(sweep, sample_rate_hz=8000, clock_ratio=r).size for r in (1.0, 1.001)]
    [8000, 8008]
    """
    if sweep.stop_hz >= sample_rate_hz / 2:
        msg = (
            f"stop {sweep.stop_hz} Hz must lie below half the sampling frequency, "
            f"{sample_rate_hz / 2} Hz"
        )
        raise ValueError(msg)
    n_samples = math.ceil((sweep.duration_s * clock_ratio - advance_s) * sample_rate_hz)
    time_s = (np.arange(n_samples) / sample_rate_hz + advance_s) / clock_ratio
    growth_s = sweep.growth_s
    phase = 2 * np.pi * sweep.start_hz * growth_s * np.expm1(time_s / growth_s)
    return sweep_amplitude(sweep, time_s) * np.sin(phase)
