"""Peaks and dips of two groups of readings, one to one, and what became of them.

Conventions: what at least half of a group's readings show is the group's; its place is their
mean. Of the two groups, places are paired one to one within a window, the nearest first. A
place that has no partner is looked at in both groups, so that what fell below a threshold in
one of them isn't a change by itself: a change is claimed of levels and places only, whose
sigmas the repeats tell. A level is the extremum of the smoothed curve near the place, in the
same range of frequencies for both groups, so that a flat dip whose lowest point hops counts as
one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from analysis.basics.arrays import Float
from analysis.basics.repeat_statistics import GroupChange, Repeats
from analysis.bass.causes.cause import Cause
from analysis.bass.curve import NOISE_LEVEL_STD_DB, bass_curve
from analysis.bass.feature_match import match_features
from analysis.bass.features import Feature, find_features
from analysis.comparison.compare import Snapshot, ensure_noise
from analysis.comparison.feature_changes import LEAST_LEVEL_DB, LEAST_SHIFT, WEAK_DB

What = Literal["peak", "dip", "reflection"]
Side = Literal["left", "right"]
SIDES: Final[tuple[Side, Side]] = ("left", "right")

LEVEL_STD_DB: Final = 0.4
"""One sigma of the level about a peak from one reading to the next, as a start: repeats
replace it. Common practice, no source. What is left in a dip is the small difference of what
cancels, so the same disturbance moves its level by the dip's depth as a factor more."""

SHIFT_STD: Final = 0.002
"""One sigma of its frequency, as a share, at least."""

REACH_DB: Final = 0.1
"""A disturbance of so much, in a dip by its depth as a factor more, can put the extremum
anywhere that lies no farther from it: half of that reach is one sigma, and a shift within it
is none, since a flat dip's lowest point hops. Common practice, no source."""

NEAR_OCTAVES: Final = 1 / 24
"""A level is looked for so far beyond the places of both groups."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Tracked:
    """One peak, dip or reflection in two groups, before it is judged.

    Attributes
    ----------
    side : {"left", "right"}
    what : {"peak", "dip", "reflection"}
    before, after : float or None
        Its place in each group, in Hz or s; None where the group doesn't show it.
    level : Repeats
        In dB, at its place in each group.
    place : Repeats or None
        In Hz or s; None unless both groups show it.
    cause : Cause or None
        The likeliest of a peak or dip, where a reading knew the room.
    """

    side: Side
    what: What
    before: float | None
    after: float | None
    level: Repeats
    place: Repeats | None
    cause: Cause | None = None

    @property
    def quantities(self) -> list[Repeats]:
        """What is judged of it."""
        return [self.level, *([] if self.place is None else [self.place])]


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """What became of it.

    Attributes
    ----------
    changes : tuple of str
        ``moved``, ``filled``, ``deepened``, ``grown``, ``reduced``, ``gone``, ``new``; for a
        reflection ``moved``, ``stronger``, ``weaker``, ``gone``, ``new``; empty where nothing
        changed beyond the uncertainty.
    """

    tracked: Tracked
    level: GroupChange
    place: GroupChange | None
    changes: tuple[str, ...]


def judge_outcome(tracked: Tracked, judged: Sequence[GroupChange]) -> Outcome:
    """Return what became of a peak, dip or reflection.

    Parameters
    ----------
    judged : sequence of GroupChange
        One for each of its quantities.
    """
    level, place = judged[0], judged[1] if len(judged) > 1 else None
    changes: list[str] = []
    if place is not None and place.beyond_uncertainty:
        changes.append("moved")
    if level.beyond_uncertainty:
        up, down = {
            "dip": ("filled", "deepened"),
            "peak": ("grown", "reduced"),
            "reflection": ("stronger", "weaker"),
        }[tracked.what]
        weakened = level.change > 0 if tracked.what == "dip" else level.change < 0
        if tracked.after is None and weakened:
            changes.append("gone")
        elif tracked.before is None and not weakened:
            changes.append("new")
        else:
            changes.append(up if level.change > 0 else down)
    return Outcome(tracked=tracked, level=level, place=place, changes=tuple(changes))


def track_bass_features(
    groups: Sequence[Sequence[Snapshot]],
    side: Side,
    frequency_hz: Float,
    curves_db: Sequence[Sequence[Float]],
) -> list[Tracked]:
    """Return the peaks and dips of one loudspeaker's bass in two groups.

    Parameters
    ----------
    groups : sequence of sequence of Snapshot
        Before and after.
    side : {"left", "right"}
    frequency_hz : ndarray, shape (n,)
    curves_db : sequence of sequence of ndarray, shape (n,)
        Smoothed curve of each reading, in dB against its reference.

    Returns
    -------
    list of Tracked
        By rising frequency.
    """
    own = [[one.features.get(side, ()) for one in group] for group in groups]
    common = [_common_features(group) for group in own]
    match = match_features(*common)
    weak = (
        [None, None]
        if not (match.only_first or match.only_second)
        else [_common_features([_weak_features(one, side) for one in group]) for group in groups]
    )
    curves = _SmoothedCurves(frequency_hz=frequency_hz, levels_db=curves_db)
    later = match_features(match.only_first, weak[1] or ())
    earlier = match_features(weak[0] or (), match.only_second)
    pairs: list[tuple[Feature | None, Feature | None]] = [
        *((pair.first, pair.second) for one in (match, later, earlier) for pair in one.pairs),
        *((feature, None) for feature in later.only_first),
        *((None, feature) for feature in earlier.only_second),
    ]
    found = [
        replace(
            _tracked_feature(pair, own, side, curves), cause=_likeliest_cause(pair, groups, side)
        )
        for pair in pairs
    ]
    return sorted(found, key=lambda one: one.before or one.after or 0.0)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _SmoothedCurves:
    """Smoothed curves of the readings of both groups."""

    frequency_hz: Float
    levels_db: Sequence[Sequence[Float]]

    def extrema(self, low_hz: float, high_hz: float, kind: str) -> list[tuple[float, ...]]:
        """Return the highest or lowest level of each reading between two frequencies."""
        inside = self._inside(low_hz, high_hz)
        pick = np.max if kind == "peak" else np.min
        return [tuple(float(pick(one[inside])) for one in group) for group in self.levels_db]

    def reach_hz(self, low_hz: float, high_hz: float, feature: Feature) -> float:
        """Return half of the widest range in which a reading's extremum may lie."""
        tolerance = REACH_DB * level_std_db(feature) / LEVEL_STD_DB
        sign = 1.0 if feature.kind == "peak" else -1.0
        inside = self._inside(low_hz, high_hz)
        reaches = []
        for one in (curve for group in self.levels_db for curve in group):
            level = sign * one[inside]
            near = self.frequency_hz[inside][level >= level.max() - tolerance]
            reaches.append(float(near[-1] - near[0]) / 2)
        return max(reaches)

    def _inside(self, low_hz: float, high_hz: float) -> slice:
        """Return the part of the curves about two places."""
        reach = 2**NEAR_OCTAVES
        first, last = np.searchsorted(self.frequency_hz, (low_hz / reach, high_hz * reach))
        return slice(min(int(first), self.frequency_hz.size - 1), max(int(last), int(first) + 1))


def _common_features(readings: Sequence[Sequence[Feature]]) -> tuple[Feature, ...]:
    """Return the features of the first reading with most others that half of all show."""
    if not readings:
        return ()
    kept = []
    base = max(readings, key=len)
    for feature in base:
        n = sum(bool(match_features([feature], list(other)).pairs) for other in readings)
        if 2 * n >= len(readings):
            kept.append(feature)
    return tuple(kept)


def _weak_features(one: Snapshot, side: Side) -> tuple[Feature, ...]:
    """Return a reading's features down to the weak ones."""
    response = getattr(ensure_noise(one), side)
    return find_features(bass_curve(response), prominence_db=WEAK_DB)


def _tracked_feature(
    pair: tuple[Feature | None, Feature | None],
    own: Sequence[Sequence[Sequence[Feature]]],
    side: Side,
    curves: _SmoothedCurves,
) -> Tracked:
    """Return a feature with its values in each reading."""
    places = [_feature_frequencies_hz(one, group) for one, group in zip(pair, own, strict=True)]
    means = [float(np.mean(one)) if one else None for one in places]
    at = [means[0] or means[1] or 0.0, means[1] or means[0] or 0.0]
    first = next(one for one in pair if one is not None)
    name = f"{side} {first.kind} at {at[0]:.1f} Hz"
    levels = curves.extrema(min(at), max(at), first.kind)
    place = None
    if places[0] and places[1]:
        reach_hz = curves.reach_hz(min(at), max(at), first)
        noise_hz = max(one.frequency_std_hz for one in pair if one is not None)
        place = Repeats(
            name=f"{name}, frequency",
            unit="Hz",
            before=places[0],
            after=places[1],
            stated_std=math.hypot(noise_hz, SHIFT_STD * at[0], reach_hz),
            least=max(LEAST_SHIFT * at[0], 2 * reach_hz),
            family="frequency",
        )
    return Tracked(
        side=side,
        what=first.kind,
        before=means[0],
        after=means[1],
        level=Repeats(
            name=f"{name}, level",
            unit="dB",
            before=levels[0],
            after=levels[1],
            stated_std=level_std_db(first),
            least=LEAST_LEVEL_DB,
            family=first.kind,
        ),
        place=place,
    )


def level_std_db(feature: Feature) -> float:
    """Return one sigma of the level about a feature from one reading to the next, in dB."""
    depth_db = max(-feature.level_db, 0.0) if feature.kind == "dip" else 0.0
    return float(min(LEVEL_STD_DB * 10 ** (depth_db / 20), NOISE_LEVEL_STD_DB))


def _likeliest_cause(
    pair: tuple[Feature | None, Feature | None], groups: Sequence[Sequence[Snapshot]], side: Side
) -> Cause | None:
    """Return the likeliest cause that a reading gives for a feature, before rather than after."""
    for feature, group in zip(pair, groups, strict=True):
        for one in group if feature is not None else ():
            causes = dict(zip(one.features.get(side, ()), one.causes.get(side, ()), strict=False))
            match = match_features([feature], list(causes)) if feature is not None else None
            cause = causes[match.pairs[0].second] if match is not None and match.pairs else None
            if cause is not None:
                return cause
    return None


def _feature_frequencies_hz(
    feature: Feature | None, readings: Sequence[Sequence[Feature]]
) -> tuple[float, ...]:
    """Return where each reading has a feature, those that have it."""
    if feature is None:
        return ()
    matches = (match_features([feature], list(one)).pairs for one in readings)
    return tuple(one[0].second.frequency_hz for one in matches if one) or (feature.frequency_hz,)
