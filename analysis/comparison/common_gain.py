"""What changed in the level of both loudspeakers alike between two readings: a knob.

Conventions: a change is after less before, in dB; steady state, third octaves from 200 to
2000 Hz, equal weight a band; ``_std_`` is one sigma.

A turned knob changes every band of both loudspeakers alike. A moved loudspeaker changes
its own bands unevenly, by interference, about a mean near zero. So each side's change has
the standard error of its bands, and the one that didn't move weighs most. Where the two
sides differ beyond that, only what they share counts as gain: the smaller of two changes
in one direction, nothing of two in opposite ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.pair.level import match_levels
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import first_arrival_s

TOP_HZ: Final = 2000.0

GATE_S: Final = 0.8e-3
"""`match_levels` wants a gate; the direct sound that it gives isn't used here."""

LEAST_GAIN_DB: Final = 0.1
"""Less is no knob: a warm amplifier, a door. Common practice, no source."""

LEAST_STD_DB: Final = 0.02
"""One sigma of a side's change at the least: what a recorder's input holds over an hour.
Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SideChange:
    """How much louder one loudspeaker became at the seat.

    Attributes
    ----------
    change_db, std_db : float
        Mean over the bands and its standard error, in dB.
    spread_db : float
        Standard deviation of the bands about it, in dB: near zero where nothing moved.
    """

    change_db: float
    std_db: float
    spread_db: float


@dataclass(frozen=True, kw_only=True, slots=True)
class CommonGain:
    """The gain common to both loudspeakers.

    Attributes
    ----------
    gain_db, std_db : float
        In dB; 0 where there is none beyond uncertainty.
    changed : bool
        Whether a knob was turned.
    left, right : SideChange or None
        With the gain still in; None where a side is missing or too noisy.
    """

    gain_db: float
    std_db: float
    changed: bool
    left: SideChange | None
    right: SideChange | None


def side_change(before: ImpulseResponse, after: ImpulseResponse) -> SideChange | None:
    """Return how much louder a loudspeaker became at the seat.

    Parameters
    ----------
    before, after : ImpulseResponse
        With one sampling frequency.

    Returns
    -------
    SideChange or None
        None where noise or gaps leave fewer than three bands.
    """
    match = match_levels(
        after,
        before,
        left_s=first_arrival_s(after),
        right_s=first_arrival_s(before),
        gate_s=GATE_S,
    )
    bands = [
        (band.left_minus_right_db, band.std_db or 0.0)
        for band in match.seat.bands
        if band.centre_hz < TOP_HZ * 1.1 and band.left_minus_right_db is not None
    ]
    if len(bands) < 3:
        return None
    changes: Float = np.array([change for change, _ in bands])
    spread_db = float(np.std(changes, ddof=1))
    return SideChange(
        change_db=float(np.mean(changes)),
        std_db=math.hypot(spread_db / math.sqrt(changes.size), LEAST_STD_DB),
        spread_db=spread_db,
    )


def common_gain(left: SideChange | None, right: SideChange | None) -> CommonGain:
    """Return what both sides' changes have in common.

    Returns
    -------
    CommonGain
        With one side only there is nothing to compare, and no gain.
    """
    if left is None or right is None:
        return CommonGain(gain_db=0.0, std_db=0.0, changed=False, left=left, right=right)
    gain_db, std_db = _shared_change_db(left, right)
    changed = abs(gain_db) > max(COVERAGE_FACTOR * std_db, LEAST_GAIN_DB)
    return CommonGain(
        gain_db=gain_db if changed else 0.0,
        std_db=std_db,
        changed=changed,
        left=left,
        right=right,
    )


def _shared_change_db(left: SideChange, right: SideChange) -> tuple[float, float]:
    """Return the shared change and one sigma of it."""
    both_std_db = math.hypot(left.std_db, right.std_db)
    if abs(left.change_db - right.change_db) <= max(COVERAGE_FACTOR * both_std_db, LEAST_GAIN_DB):
        weights = [1 / side.std_db**2 for side in (left, right)]
        mean = (weights[0] * left.change_db + weights[1] * right.change_db) / sum(weights)
        return mean, 1 / math.sqrt(sum(weights))
    if left.change_db * right.change_db <= 0:
        return 0.0, both_std_db
    smaller = min((left, right), key=lambda side: abs(side.change_db))
    return smaller.change_db, smaller.std_db
