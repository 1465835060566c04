"""Peaks and dips of a bass curve, each with its place, size, width and decay.

Conventions: frequencies in Hz, levels in dB; a peak is a local maximum of the
unsmoothed level curve, a dip a local minimum. Every ``_std_`` field is one sigma.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["peak", "dip"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Feature:
    """One peak or dip of a bass curve.

    Attributes
    ----------
    kind : {"peak", "dip"}
    frequency_hz : float
        Where the unsmoothed curve has its extremum, interpolated, in Hz.
    frequency_std_hz : float
        One sigma of it, in Hz.
    level_db : float
        Level against the local mean (one octave), in dB; below 0 for a dip.
    prominence_db : float
        Topographic prominence on the unsmoothed dB curve, of the negated curve
        for a dip; in dB, above 0 for both kinds.
    width_hz : float or None
        Between the points 3 dB below a peak or 3 dB above a dip's bottom, in Hz;
        ``None`` where the curve turns before it has come so far.
    q : float or None
        ``frequency_hz / width_hz``.
    decay_s : float or None
        Time in which the peak's own ringing would fall by 60 dB, in seconds;
        ``None`` for a dip, and where it can't be told.
    decay_std_s : float or None
        One sigma of it, in seconds.
    """

    kind: Kind
    frequency_hz: float
    frequency_std_hz: float
    level_db: float
    prominence_db: float
    width_hz: float | None = None
    q: float | None = None
    decay_s: float | None = None
    decay_std_s: float | None = None
