"""The first reflections of two groups of readings, one to one.

Conventions: those of `analysis.comparison.groups.features` and
`analysis.comparison.early_reflections`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from analysis.basics.repeat_statistics import Repeats
from analysis.comparison.compare import Snapshot
from analysis.comparison.early_reflections import EarlyResponse, find_early_reflections
from analysis.comparison.groups.features import Side, Tracked

REFLECTION_STD_DB: Final = 0.5
REFLECTION_STD_S: Final = 1e-5
"""The same of a reflection's level and arrival: 3 mm of path."""

LEAST_REFLECTION_DB: Final = 1.0
LEAST_REFLECTION_S: Final = 3e-5
"""Smaller changes of a reflection are none, however sure: 10 mm of path. Common practice, no
source."""

WINDOW_S: Final = 2.5e-4
"""Reflections nearer in time than this can be the same one: 9 cm of path."""


def track_reflections(groups: Sequence[Sequence[Snapshot]], side: Side) -> list[Tracked]:
    """Return the first reflections of one loudspeaker in two groups.

    Parameters
    ----------
    groups : sequence of sequence of Snapshot
        Before and after.
    side : {"left", "right"}

    Returns
    -------
    list of Tracked
        By their time.
    """
    early = [[find_early_reflections(getattr(one, side)) for one in group] for group in groups]
    common = [_common_times(group) for group in early]
    pairs = pair_times(*common)
    alone = [[at for at in common[g] if at not in {pair[g] for pair in pairs}] for g in (0, 1)]
    all_pairs: list[tuple[float | None, float | None]] = [
        *pairs,
        *((at, None) for at in alone[0]),
        *((None, at) for at in alone[1]),
    ]
    found = [_tracked_reflection(pair, early, side) for pair in all_pairs]
    return sorted(found, key=lambda one: one.before or one.after or 0.0)


def pair_times(first: Sequence[float], second: Sequence[float]) -> list[tuple[float, float]]:
    """Return times paired one to one, the nearest first, none farther apart than the window.

    Examples
    --------
    >>> pair_times([1e-3, 2e-3], [1.1e-3, 1.05e-3])
    [(0.001, 0.00105)]
    """
    near = sorted((abs(a - b), a, b) for a in first for b in second)
    pairs: list[tuple[float, float]] = []
    for apart, a, b in near:
        if apart <= WINDOW_S and all(a != one[0] and b != one[1] for one in pairs):
            pairs.append((a, b))
    return pairs


def _common_times(readings: Sequence[EarlyResponse]) -> tuple[float, ...]:
    """Return the times of the reflections that at least half of the readings show."""
    base = max(readings, key=lambda one: len(one.times_s))
    found = []
    for at in base.times_s:
        near = [time for one in readings for _, time in pair_times([at], one.times_s)]
        if 2 * len(near) >= len(readings):
            found.append(float(np.mean(near)))
    return tuple(found)


def _tracked_reflection(
    pair: tuple[float | None, float | None], early: Sequence[Sequence[EarlyResponse]], side: Side
) -> Tracked:
    """Return a reflection with its values in each reading."""
    at = [pair[0] or pair[1] or 0.0, pair[1] or pair[0] or 0.0]
    levels = [tuple(one.level_db(at[g]) for one in group) for g, group in enumerate(early)]
    name = f"{side} reflection {at[0] * 1e3:.2f} ms after the direct sound"
    place = None
    if pair[0] is not None and pair[1] is not None:
        times = [
            tuple(time for one in group for _, time in pair_times([at[g]], one.times_s))
            for g, group in enumerate(early)
        ]
        place = Repeats(
            name=f"{name}, arrival",
            unit="s",
            before=times[0],
            after=times[1],
            stated_std=REFLECTION_STD_S,
            least=LEAST_REFLECTION_S,
            family="reflection's arrival",
        )
    return Tracked(
        side=side,
        what="reflection",
        before=pair[0],
        after=pair[1],
        level=Repeats(
            name=f"{name}, level",
            unit="dB",
            before=levels[0],
            after=levels[1],
            stated_std=REFLECTION_STD_DB,
            least=LEAST_REFLECTION_DB,
            family="reflection",
        ),
        place=place,
    )
