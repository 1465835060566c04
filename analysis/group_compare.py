"""Two groups of readings: before and after, or two pairs side by side.

Conventions: a change is after less before; left minus right as everywhere. Bass levels are
third octaves from 25 to 200 Hz, each less the level of a reference band, so that a knob that
changes every curve alike is gain and nothing else. Before and after, each loudspeaker is held
against its own 200 to 2000 Hz; of two pairs, both loudspeakers of a pair against the pair's
500 to 2000 Hz together, where a level match is made by ear.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import fft

from analysis.arrays import Float
from analysis.compare import LEVEL_STD_DB, Snapshot
from analysis.impulse_response import ImpulseResponse
from analysis.repeat_statistics import GroupChange, Repeats, judge_changes

BAND_CENTRES_HZ: Final = (25.1, 31.6, 39.8, 50.1, 63.1, 79.4, 100.0, 125.9, 158.5, 199.5)
"""Exact mid-band frequencies of third octaves, base ten (IEC 61260-1, second-hand)."""

OWN_BAND_HZ: Final = (200.0, 2000.0)
PAIR_BAND_HZ: Final = (500.0, 2000.0)

BAND_STD_DB: Final = 0.3
"""One sigma of a third octave's level from one reading to the next, as a start: repeats
replace it. Common practice, no source."""

LEAST_ARRIVAL_STD_M: Final = 1e-4
"""A reading is never taken for better known than this: a tenth of a millimetre of the
microphone's place. Common practice, no source."""

LEAST_BAND_DB: Final = 0.5
LEAST_LEVEL_DB: Final = 0.1
LEAST_ARRIVAL_M: Final = 2e-4
"""Smaller changes of a third octave, a level, an arrival are none, however sure: nobody hears
or sets them. Common practice, no source."""

_POINTS_PER_OCTAVE: Final = 48


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class GroupComparison:
    """What is different between two groups.

    Attributes
    ----------
    n_before, n_after : int
        Readings.
    matching : {"own", "pair"}
        Against which band the bass was held.
    gain_db : float
        What all curves changed by alike, in dB.
    changes : tuple of GroupChange
        Arrival (m), direct and seat level (dB), and each third octave of each side (dB).
    frequency_hz : ndarray, shape (n,)
    curves_db : ndarray, shape (2, 2, n)
        Before and after, left and right: levels against the reference band, mean of the
        group, smoothed over 1/6 octave.
    spread_db : ndarray, shape (2, 2, n)
        Standard deviation in the group; NaN for a single reading.
    """

    n_before: int
    n_after: int
    matching: Literal["own", "pair"]
    gain_db: float
    changes: tuple[GroupChange, ...]
    frequency_hz: Float
    curves_db: Float
    spread_db: Float

    @property
    def claimed(self) -> tuple[GroupChange, ...]:
        """What changed beyond the uncertainty."""
        return tuple(one for one in self.changes if one.beyond_uncertainty)


def compare_groups(
    before: Sequence[Snapshot],
    after: Sequence[Snapshot],
    *,
    matching: Literal["own", "pair"] = "own",
) -> GroupComparison:
    """Return what is different between two groups of readings.

    Parameters
    ----------
    before, after : sequence of Snapshot
        At least one each, both loudspeakers heard.
    matching : {"own", "pair"}
        ``own`` for one pair before and after, ``pair`` for two pairs.

    Returns
    -------
    GroupComparison

    Raises
    ------
    ValueError
        If a group is empty, or a reading lacks a loudspeaker.
    """
    for name, group in (("before", before), ("after", after)):
        if not group or any(one.left is None or one.right is None for one in group):
            msg = f"{name} must hold at least one reading, each with both loudspeakers"
            raise ValueError(msg)
    groups = [[_levels(one, matching) for one in group] for group in (before, after)]
    quantities = [*_scalars(before, after), *_bands(groups)]
    grid = _grid()
    curves = [[curve for _, curve, _ in group] for group in groups]
    return GroupComparison(
        n_before=len(before),
        n_after=len(after),
        matching=matching,
        gain_db=float(
            np.mean([ref for *_, ref in groups[1]]) - np.mean([ref for *_, ref in groups[0]])
        ),
        changes=tuple(judge_changes(quantities)),
        frequency_hz=grid,
        curves_db=np.stack([np.mean(one, axis=0) for one in curves]),
        spread_db=np.stack([_spread(one) for one in curves]),
    )


def _spread(curves: list[Float]) -> Float:
    """Return the standard deviation over a group; NaN for one reading."""
    if len(curves) == 1:
        return np.full_like(curves[0], math.nan)
    return np.asarray(np.std(curves, axis=0, ddof=1))


def _scalars(before: Sequence[Snapshot], after: Sequence[Snapshot]) -> list[Repeats]:
    """Return arrival and levels, those that each reading has."""
    found = []
    for name, unit, value, std, least in (
        ("arrival", "m", "arrival_m", "arrival_in_room_std_m", LEAST_ARRIVAL_STD_M),
        ("direct level", "dB", "direct_db", "direct_std_db", LEVEL_STD_DB),
        ("level at the seat", "dB", "seat_db", "seat_std_db", LEVEL_STD_DB),
    ):
        values = [[getattr(one, value) for one in group] for group in (before, after)]
        if any(one is None for group in values for one in group):
            continue
        stated = [getattr(one, std) or 0.0 for one in (*before, *after)]
        found.append(
            Repeats(
                name=name,
                unit=unit,
                before=tuple(values[0]),
                after=tuple(values[1]),
                least=LEAST_ARRIVAL_M if unit == "m" else LEAST_LEVEL_DB,
                stated_std=math.hypot(math.sqrt(float(np.mean(np.square(stated)))), least),
            )
        )
    return found


_Levels = tuple[Float, Float, Float]


def _levels(one: Snapshot, matching: str) -> _Levels:
    """Return third octaves (2, n_bands), curves (2, n) and reference levels (2,) in dB."""
    sides = [side for side in (one.left, one.right) if side is not None]
    power = [_power(side) for side in sides]
    band_hz = OWN_BAND_HZ if matching == "own" else PAIR_BAND_HZ
    reference = np.array([_mean_power(*side, *band_hz) for side in power])
    if matching == "pair":
        reference[:] = reference.mean()
    reference_db = 10 * np.log10(reference)
    third, sixth = 2 ** (1 / 6), 2 ** (1 / 12)
    bands = np.array(
        [[_mean_power(*side, f / third, f * third) for f in BAND_CENTRES_HZ] for side in power]
    )
    curves = np.array(
        [[_mean_power(*side, f / sixth, f * sixth) for f in _grid()] for side in power]
    )
    return (
        10 * np.log10(bands) - reference_db[:, None],
        10 * np.log10(curves) - reference_db[:, None],
        reference_db,
    )


def _grid() -> Float:
    """Return the frequencies of the curves: 20 to 300 Hz."""
    n = round(math.log2(15) * _POINTS_PER_OCTAVE)
    return np.asarray(20.0 * 2 ** (np.arange(n + 1) / _POINTS_PER_OCTAVE))


def _power(response: ImpulseResponse) -> tuple[Float, Float]:
    """Return frequency and the running sum of power over it."""
    n_fft = fft.next_fast_len(
        max(response.samples.size, round(2 * response.sample_rate_hz)), real=True
    )
    spectrum = np.abs(fft.rfft(response.samples, n_fft)) ** 2
    frequency_hz = fft.rfftfreq(n_fft, 1 / response.sample_rate_hz)
    return np.asarray(frequency_hz), np.concatenate(([0.0], np.cumsum(spectrum)))


def _mean_power(frequency_hz: Float, running: Float, low_hz: float, high_hz: float) -> float:
    """Return the mean power between two frequencies, never zero."""
    first, last = np.searchsorted(frequency_hz, (low_hz, high_hz))
    last = max(int(last), int(first) + 1)
    return max(float(running[last] - running[first]) / (last - int(first)), 1e-30)


def _bands(groups: list[list[_Levels]]) -> list[Repeats]:
    """Return each third octave of each side."""
    return [
        Repeats(
            name=f"{side} at {centre_hz:.0f} Hz",
            unit="dB",
            before=tuple(float(levels[0][row, at]) for levels in groups[0]),
            after=tuple(float(levels[0][row, at]) for levels in groups[1]),
            stated_std=BAND_STD_DB,
            least=LEAST_BAND_DB,
        )
        for row, side in enumerate(("left", "right"))
        for at, centre_hz in enumerate(BAND_CENTRES_HZ)
    ]
