"""The short stereo pattern that repeats while a loudspeaker is slid.

Conventions: left and right take turns with one and the same sweep, so whatever the sweep
and its deconvolution do to a response they do to both sides alike. Sweeps are counted from
0 at the start of the run; even ones are left's. Frames and seconds are the player's, from
the run's first.

The pauses are unequal. In one period the four starts are so placed that no two of their
twelve cyclic distances agree (a circular Golomb ruler). So the rhythm alone tells which
sweep is which, however late the recorder began, and even of a loudspeaker heard alone
whether it is the left or the right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.basics.arrays import Float, freeze
from analysis.signals.sweep import Sweep, sweep_samples

SIDES = ("left", "right")

GAPS_S = (0.25, 0.27, 0.31, 0.29)
"""From each sweep's start to the next one's. With 0.12 s of sweep that leaves 0.13 s and more
for the room to fall silent, and a new answer some four times a second."""

SWEEP_S = 0.12
START_HZ, STOP_HZ = 600.0, 20_000.0
"""What a gate of 0.8 ms can tell starts at 800 Hz; the octaves below would be wasted, and
would bother the neighbours."""


@dataclass(frozen=True, kw_only=True, slots=True)
class NudgePattern:
    """The pattern; everything needed to make it again.

    Attributes
    ----------
    sweep : Sweep
        Of both sides.
    sample_rate_hz : int
        Of player and recorder, nominal.
    gaps_s : tuple of float
        From the start of each of the period's four sweeps to the next one's, in seconds.
    """

    sweep: Sweep
    sample_rate_hz: int
    gaps_s: tuple[float, float, float, float] = GAPS_S

    def __post_init__(self) -> None:
        if self.sweep.stop_hz >= self.sample_rate_hz / 2:
            msg = (
                f"stop {self.sweep.stop_hz} Hz must lie below half the sampling frequency, "
                f"{self.sample_rate_hz / 2} Hz"
            )
            raise ValueError(msg)
        if not min(self.gaps_s) >= 2 * self.sweep.duration_s:
            msg = (
                f"gaps {self.gaps_s} s must each be at least twice the sweep's "
                f"{self.sweep.duration_s} s"
            )
            raise ValueError(msg)
        starts = self._starts_in_period()
        apart = {
            round(1e3 * (one - other) / self.sample_rate_hz) % round(1e3 * self.period_s)
            for one in starts
            for other in starts
            if one != other
        }
        if len(apart) < 12:
            msg = f"gaps {self.gaps_s} s make a rhythm that looks alike from two of its sweeps"
            raise ValueError(msg)

    def _starts_in_period(self) -> tuple[int, ...]:
        ends_s = np.cumsum((0.0, *self.gaps_s))[:-1]
        return tuple(round(float(at_s) * self.sample_rate_hz) for at_s in ends_s)

    @property
    def period_frames(self) -> int:
        """Length of one period, in frames."""
        return round(sum(self.gaps_s) * self.sample_rate_hz)

    @property
    def period_s(self) -> float:
        """Length of one period, in seconds."""
        return self.period_frames / self.sample_rate_hz

    def start_frame(self, index: int) -> int:
        """Return the frame at which a sweep starts, counted from the run's first."""
        period, place = divmod(index, 4)
        return period * self.period_frames + self._starts_in_period()[place]

    def start_s(self, index: int) -> float:
        """Return when a sweep starts, in seconds from the run's first frame."""
        return self.start_frame(index) / self.sample_rate_hz


def sweep_side(index: int) -> str:
    """Return whose a sweep is: ``left`` or ``right``.

    Examples
    --------
    >>> [sweep_side(index) for index in range(4)]
    ['left', 'right', 'left', 'right']
    """
    return SIDES[index % 2]


def nudge_pattern(*, sample_rate_hz: int, level_dbfs: float) -> NudgePattern:
    """Return the usual pattern.

    Parameters
    ----------
    sample_rate_hz : int
        At least 44 100 Hz.
    level_dbfs : float
        Peak, in dB re full scale.
    """
    return NudgePattern(
        sweep=Sweep(start_hz=START_HZ, stop_hz=STOP_HZ, duration_s=SWEEP_S, level_dbfs=level_dbfs),
        sample_rate_hz=sample_rate_hz,
    )


def period_samples(pattern: NudgePattern) -> Float:
    """Return one period, to be played again and again.

    Returns
    -------
    ndarray, shape (2, n_frames)
        Left, right; full scale 1.
    """
    one = sweep_samples(pattern.sweep, sample_rate_hz=pattern.sample_rate_hz)
    samples = np.zeros((2, pattern.period_frames))
    for index in range(4):
        first = pattern.start_frame(index)
        samples[index % 2, first : first + one.size] = one
    return freeze(samples, name="samples", ndim=2)
