"""Which peak or dip of one bass curve is which of another, one to one.

Conventions: two features can be the same if both are peaks or both dips and their
frequencies differ by no more than a window; of all ways to pair them one to one, those
with the most pairs are sought, and among them the one with the least cost. The cost of
a pair is the squared difference of frequency over the window, plus that of level over
``LEVEL_SCALE_DB``. A change is second less first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.bass.features import Feature

WINDOW_OCTAVES: Final = 1 / 12
"""Largest distance of a pair. A path difference of 2 m that changes by a tenth of a
metre moves its cancellation by 5 %, 1/14 octave; a mode doesn't move at all."""

LEAST_WINDOW_SIGMAS: Final = 2.0
"""The window is at least so many sigmas of the two frequencies together."""

LEVEL_SCALE_DB: Final = 12.0
"""So many dB count as much as the whole window: level decides only between neighbours."""

_FORBIDDEN: Final = 1e6


@dataclass(frozen=True, kw_only=True, slots=True)
class FeaturePair:
    """One feature seen in two curves.

    Attributes
    ----------
    frequency_change_hz, frequency_change_std_hz : float
        Second less first and one sigma, in Hz.
    level_change_db : float
        Change of the level against the local mean, in dB: above 0 where a dip was
        filled or a peak grew.
    level_change_std_db : float or None
        One sigma of it from noise, in dB; ``None`` where a level's is unknown.
    """

    first: Feature
    second: Feature
    frequency_change_hz: float
    frequency_change_std_hz: float
    level_change_db: float
    level_change_std_db: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class FeatureMatches:
    """The pairs of two lists of features, and what has no partner.

    Attributes
    ----------
    pairs : tuple of FeaturePair
        By rising frequency of the first.
    only_first, only_second : tuple of Feature
        In the order given.
    """

    pairs: tuple[FeaturePair, ...]
    only_first: tuple[Feature, ...]
    only_second: tuple[Feature, ...]


def match_features(
    first: Sequence[Feature],
    second: Sequence[Feature],
    *,
    window_octaves: float = WINDOW_OCTAVES,
) -> FeatureMatches:
    """Return which features of two curves are the same.

    Parameters
    ----------
    first, second : sequence of Feature
        Such as before and after, or centre and another position.
    window_octaves : float
        Largest distance in frequency, in octaves, above 0.

    Raises
    ------
    ValueError
        If `window_octaves` isn't above 0.
    """
    if not 0 < window_octaves < math.inf:
        msg = f"window_octaves {window_octaves} must be greater than zero"
        raise ValueError(msg)
    pairs: list[tuple[int, int]] = []
    if first and second:
        # Late: most readings have one microphone position, and nothing to match.
        from scipy.optimize import linear_sum_assignment

        cost = _pair_costs(first, second, window_octaves)
        rows, columns = linear_sum_assignment(cost)
        pairs = [
            (int(i), int(j)) for i, j in zip(rows, columns, strict=True) if cost[i, j] < _FORBIDDEN
        ]
    pairs.sort(key=lambda pair: first[pair[0]].frequency_hz)
    paired_first, paired_second = {i for i, _ in pairs}, {j for _, j in pairs}
    return FeatureMatches(
        pairs=tuple(_feature_pair(first[i], second[j]) for i, j in pairs),
        only_first=tuple(f for i, f in enumerate(first) if i not in paired_first),
        only_second=tuple(f for j, f in enumerate(second) if j not in paired_second),
    )


def _pair_costs(
    first: Sequence[Feature], second: Sequence[Feature], window_octaves: float
) -> Float:
    """Return the cost of each pair, shape (n_first, n_second); dear where not allowed."""
    costs = np.full((len(first), len(second)), _FORBIDDEN)
    for i, a in enumerate(first):
        for j, b in enumerate(second):
            window_hz = max(
                (2**window_octaves - 1) * min(a.frequency_hz, b.frequency_hz),
                LEAST_WINDOW_SIGMAS * math.hypot(a.frequency_std_hz, b.frequency_std_hz),
            )
            distance = abs(a.frequency_hz - b.frequency_hz) / window_hz
            if a.kind == b.kind and distance <= 1:
                costs[i, j] = distance**2 + ((a.level_db - b.level_db) / LEVEL_SCALE_DB) ** 2
    return costs


def _feature_pair(first: Feature, second: Feature) -> FeaturePair:
    """Return the record of two features that are the same."""
    stds = (first.level_std_db, second.level_std_db)
    return FeaturePair(
        first=first,
        second=second,
        frequency_change_hz=second.frequency_hz - first.frequency_hz,
        frequency_change_std_hz=math.hypot(first.frequency_std_hz, second.frequency_std_hz),
        level_change_db=second.level_db - first.level_db,
        level_change_std_db=None if None in stds else math.hypot(*(s for s in stds if s)),
    )
