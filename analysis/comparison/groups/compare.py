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

from analysis.basics.arrays import Float
from analysis.basics.repeat_statistics import GroupChange, Repeats, judge_changes
from analysis.comparison.compare import LEVEL_STD_DB, Snapshot
from analysis.comparison.groups.features import (
    SIDES,
    Outcome,
    Tracked,
    judge_outcome,
    track_bass_features,
)
from analysis.comparison.groups.reflections import track_reflections
from analysis.comparison.pair_measures import measure_repeats, pair_measures
from analysis.signals.impulse_response import ImpulseResponse

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

FEATURE_OCTAVES: Final = 1 / 12
"""Smoothing of the curve on which the level of a peak or dip is taken."""

WIDE_HZ: Final = (20.0, 20_000.0)
_WIDE_POINTS_PER_OCTAVE: Final = 12


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
    measures : tuple of GroupChange
        A pair's bass and symmetry in a few numbers, as `analysis.comparison.pair_measures` has
        them.
    features, reflections : tuple of Outcome
        Of both sides: peaks and dips of the bass, and the first reflections.
    frequency_hz : ndarray, shape (n,)
    curves_db : ndarray, shape (2, 2, n)
        Before and after, left and right: levels against the reference band, mean of the
        group, smoothed over 1/6 octave.
    spread_db : ndarray, shape (2, 2, n)
        Standard deviation in the group; NaN for a single reading.
    wide_hz : ndarray, shape (m,)
    wide_db, wide_spread_db : ndarray, shape (2, 2, m)
        The same from 20 Hz to 20 kHz, smoothed over 1/3 octave; NaN beyond what was sampled.
    """

    n_before: int
    n_after: int
    matching: Literal["own", "pair"]
    gain_db: float
    changes: tuple[GroupChange, ...]
    frequency_hz: Float
    curves_db: Float
    spread_db: Float
    measures: tuple[GroupChange, ...]
    features: tuple[Outcome, ...]
    reflections: tuple[Outcome, ...]
    wide_hz: Float
    wide_db: Float
    wide_spread_db: Float

    @property
    def significant_changes(self) -> tuple[GroupChange, ...]:
        """What changed beyond the uncertainty, of all but peaks, dips and reflections."""
        every = (*self.changes, *self.measures)
        return tuple(one for one in every if one.beyond_uncertainty)

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """Peaks, dips and reflections that changed beyond the uncertainty."""
        return tuple(one for one in (*self.features, *self.reflections) if one.changes)

    @property
    def n_quantities(self) -> int:
        """How many were judged together."""
        many = (*self.features, *self.reflections)
        return (
            len(self.changes)
            + len(self.measures)
            + sum(len(one.tracked.quantities) for one in many)
        )


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

    Raises
    ------
    ValueError
        If a group is empty, or a reading lacks a loudspeaker.
    """
    for name, group in (("before", before), ("after", after)):
        if not group or any(one.left is None or one.right is None for one in group):
            msg = f"{name} must hold at least one reading, each with both loudspeakers"
            raise ValueError(msg)
    groups = [[_reading_levels(one, matching) for one in group] for group in (before, after)]
    quantities = [*_repeats_of_scalars(before, after), *_repeats_of_bands(groups)]
    measures, tracked = _repeats_of_measures(groups), _track_both_sides((before, after), groups)
    others = [one for t in tracked for one in t.quantities]
    judged = judge_changes([*quantities, *measures, *others])
    outcomes, rest = list[Outcome](), judged[len(judged) - len(others) :]
    for one in tracked:
        n = len(one.quantities)
        outcomes.append(judge_outcome(one, rest[:n]))
        rest = rest[n:]
    curves, wide = ([[getattr(one, name) for one in g] for g in groups] for name in _CURVES)
    references = [np.mean([one.reference_db for one in group]) for group in groups]
    return GroupComparison(
        n_before=len(before),
        n_after=len(after),
        matching=matching,
        gain_db=float(references[1] - references[0]),
        changes=tuple(judged[: len(quantities)]),
        frequency_hz=_bass_grid_hz(),
        curves_db=np.stack([np.mean(one, axis=0) for one in curves]),
        spread_db=np.stack([_standard_deviation(one) for one in curves]),
        measures=tuple(judged[len(quantities) : len(quantities) + len(measures)]),
        features=tuple(one for one in outcomes if one.tracked.what != "reflection"),
        reflections=tuple(one for one in outcomes if one.tracked.what == "reflection"),
        wide_hz=_wide_grid_hz(),
        wide_db=np.stack([np.mean(one, axis=0) for one in wide]),
        wide_spread_db=np.stack([_standard_deviation(one) for one in wide]),
    )


def _repeats_of_measures(groups: Sequence[Sequence[_ReadingLevels]]) -> list[Repeats]:
    """Return each pair's bass and symmetry in a few numbers."""
    grid, wide = _bass_grid_hz(), _wide_grid_hz()
    return measure_repeats(
        [[pair_measures(grid, one.curves_db, wide, one.wide_db) for one in g] for g in groups]
    )


def _track_both_sides(
    snapshots: Sequence[Sequence[Snapshot]], groups: Sequence[Sequence[_ReadingLevels]]
) -> list[Tracked]:
    """Return the peaks, dips and reflections of both sides."""
    found: list[Tracked] = []
    for row, side in enumerate(SIDES):
        fine = [[one.fine_db[row] for one in group] for group in groups]
        found += [
            *track_bass_features(snapshots, side, _bass_grid_hz(), fine),
            *track_reflections(snapshots, side),
        ]
    return found


def _standard_deviation(curves: list[Float]) -> Float:
    """Return the standard deviation over a group; NaN for one reading."""
    if len(curves) == 1:
        return np.full_like(curves[0], math.nan)
    return np.asarray(np.std(curves, axis=0, ddof=1))


def _repeats_of_scalars(before: Sequence[Snapshot], after: Sequence[Snapshot]) -> list[Repeats]:
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


_CURVES: Final = ("curves_db", "wide_db")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _ReadingLevels:
    """The levels of one reading, left and right, in dB against its reference."""

    reference_db: Float
    bands_db: Float
    curves_db: Float
    fine_db: Float
    wide_db: Float


def _reading_levels(one: Snapshot, matching: str) -> _ReadingLevels:
    """Return the levels of one reading."""
    power = [_running_power(side) for side in (one.left, one.right) if side is not None]
    low_hz, high_hz = OWN_BAND_HZ if matching == "own" else PAIR_BAND_HZ
    middle_hz, reach = np.array([math.sqrt(low_hz * high_hz)]), math.sqrt(high_hz / low_hz)
    reference = np.array([float(_mean_power(*side, middle_hz, reach)[0]) for side in power])
    if matching == "pair":
        reference[:] = reference.mean()
    reference_db = 10 * np.log10(reference)

    def smoothed(at_hz: Float, octaves: float) -> Float:
        means = [_mean_power(*side, at_hz, 2 ** (octaves / 2)) for side in power]
        return np.asarray(10 * np.log10(means) - reference_db[:, None])

    return _ReadingLevels(
        reference_db=reference_db,
        bands_db=smoothed(np.array(BAND_CENTRES_HZ), 1 / 3),
        curves_db=smoothed(_bass_grid_hz(), 1 / 6),
        fine_db=smoothed(_bass_grid_hz(), FEATURE_OCTAVES),
        wide_db=smoothed(_wide_grid_hz(), 1 / 3),
    )


def _bass_grid_hz() -> Float:
    """Return the frequencies of the curves: 20 to 300 Hz."""
    n = round(math.log2(15) * _POINTS_PER_OCTAVE)
    return np.asarray(20.0 * 2 ** (np.arange(n + 1) / _POINTS_PER_OCTAVE))


def _wide_grid_hz() -> Float:
    """Return the frequencies of the curves of the whole range."""
    low_hz, high_hz = WIDE_HZ
    n = round(math.log2(high_hz / low_hz) * _WIDE_POINTS_PER_OCTAVE)
    return np.asarray(np.geomspace(low_hz, high_hz, n + 1))


def _running_power(response: ImpulseResponse) -> tuple[Float, Float]:
    """Return frequency and the running sum of power over it."""
    n_fft = fft.next_fast_len(
        max(response.samples.size, round(2 * response.sample_rate_hz)), real=True
    )
    spectrum = np.abs(fft.rfft(response.samples, n_fft)) ** 2
    frequency_hz = fft.rfftfreq(n_fft, 1 / response.sample_rate_hz)
    return np.asarray(frequency_hz), np.concatenate(([0.0], np.cumsum(spectrum)))


def _mean_power(frequency_hz: Float, running: Float, at_hz: Float, reach: float) -> Float:
    """Return the mean power about frequencies, by a factor; NaN beyond what was sampled."""
    first = np.searchsorted(frequency_hz, at_hz / reach)
    last = np.maximum(np.searchsorted(frequency_hz, at_hz * reach), first + 1)
    inside = last < running.size
    first, last = np.where(inside, first, 0), np.where(inside, last, 1)
    mean = (running[last] - running[first]) / (last - first)
    return np.where(inside, np.maximum(mean, 1e-30), math.nan)


def _repeats_of_bands(groups: list[list[_ReadingLevels]]) -> list[Repeats]:
    """Return each third octave of each side."""
    return [
        Repeats(
            name=f"{side} at {centre_hz:.0f} Hz",
            unit="dB",
            before=tuple(float(levels.bands_db[row, at]) for levels in groups[0]),
            after=tuple(float(levels.bands_db[row, at]) for levels in groups[1]),
            stated_std=BAND_STD_DB,
            least=LEAST_BAND_DB,
        )
        for row, side in enumerate(("left", "right"))
        for at, centre_hz in enumerate(BAND_CENTRES_HZ)
    ]
