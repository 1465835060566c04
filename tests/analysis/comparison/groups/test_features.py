"""Peaks, dips and first reflections of two groups: what is claimed, and what never."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from analysis.bass.causes.cause import Cause
from analysis.comparison.compare import Snapshot
from analysis.comparison.early_reflections import find_early_reflections
from analysis.comparison.groups.compare import GroupComparison, compare_groups
from analysis.comparison.groups.features import LEVEL_STD_DB, Outcome
from analysis.comparison.groups.reflections import REFLECTION_STD_DB, pair_times
from analysis.report.comparison.groups import group_lines
from benchmarks.group_readings import REFLECTIONS_MS, reading


@lru_cache
def pool(seed: int, n: int = 24, **changed: float) -> tuple[Snapshot, ...]:
    rng = np.random.default_rng([50, seed])
    return tuple(reading(rng, **changed) for _ in range(n))


def drawn(many: tuple[Snapshot, ...], n: int, rng: np.random.Generator) -> list[Snapshot]:
    return [many[k] for k in rng.permutation(len(many))[:n]]


def nearest(found: GroupComparison, what: str, at: float) -> Outcome:
    """Return the left loudspeaker's peak or reflection nearest to a place."""
    own = [
        one
        for one in (*found.features, *found.reflections)
        if one.tracked.side == "left" and one.tracked.what == what
    ]
    return min(own, key=lambda one: abs((one.tracked.before or one.tracked.after or 0.0) - at))


@pytest.mark.parametrize("n", [1, 2, 3])
def test_without_a_change_few_comparisons_claim_any(n: int) -> None:
    # Known input: readings of one invented room with their own scatter. At most 5 % of whole
    # comparisons may claim any quantity; 2.6 sigma of the draws are allowed on top.
    rng = np.random.default_rng([51, n])
    many, claims, n_draws = pool(1, 36), 0, 60
    for _ in range(n_draws):
        both = drawn(many, 2 * n, rng)
        found = compare_groups(both[:n], both[n:])
        claims += bool(found.significant_changes or found.outcomes)
    assert found.n_quantities > 50
    assert claims / n_draws <= 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / n_draws)


@pytest.mark.parametrize(
    ("what", "at", "key", "std_db"),
    [
        ("peak", 46.0, "mode_db", LEVEL_STD_DB),
        ("reflection", 2.1e-3, "reflection_db", REFLECTION_STD_DB),
    ],
)
@pytest.mark.parametrize("n", [1, 3])
def test_a_change_of_five_stated_sigma_is_seen(
    what: str, at: float, key: str, std_db: float, n: int
) -> None:
    # Known input: five times the stated sigma of the change of two single readings is put in;
    # a mode of 8 dB among others shows four fifths of it.
    rng = np.random.default_rng([52, n])
    share = 0.8 if what == "peak" else 0.95
    changed = pool(2, 24, **{key: 5 * std_db * np.sqrt(2) / share})
    many = pool(1, 36)
    seen = sum(
        bool(nearest(compare_groups(drawn(many, n, rng), drawn(changed, n, rng)), what, at).changes)
        for _ in range(30)
    )
    assert seen / 30 >= 0.9


def test_what_was_changed_is_named_in_words() -> None:
    # Known input: the left loudspeaker's second mode 4 dB stronger and 3 % higher, its first
    # reflection 8 dB weaker.
    after = pool(3, 4, mode_db=4.0, shift=0.03, reflection_db=-8.0)
    found = compare_groups(pool(1, 36)[:4], after)
    peak = nearest(found, "peak", 46.0)
    assert set(peak.changes) == {"moved", "grown"}
    assert peak.place is not None
    assert peak.place.change == pytest.approx(0.03 * 46.0, abs=0.3)
    weak = nearest(found, "reflection", 2.1e-3)
    assert weak.changes in (("weaker",), ("gone",))
    assert weak.level.change == pytest.approx(-8.0, abs=1.5)
    said = " ".join(" ".join(group_lines(found, names=("a", "b"))).split())
    assert "Left, peak at 46 Hz: moved by" in said
    assert "Left, reflection 2.10 ms after the direct sound: " in said


def test_what_goes_and_what_comes_mirror_each_other() -> None:
    # Invariant: the groups exchanged.
    flat = pool(4, 4, mode_db=-30.0)
    there = compare_groups(pool(1, 36)[:4], flat)
    back = compare_groups(flat, pool(1, 36)[:4])
    assert "gone" in nearest(there, "peak", 46.0).changes
    assert "new" in nearest(back, "peak", 46.0).changes


def test_a_likely_cause_comes_with_the_change() -> None:
    # Known input: the reading before names a cause for each feature.
    cause = Cause(cause="mode", frequency_hz=46.2, score=0.8, parts={}, indices=(1, 0, 0))
    before = [
        replace(one, causes={"left": tuple(cause for _ in one.features["left"])})
        for one in pool(1, 36)[:4]
    ]
    found = compare_groups(before, pool(3, 4, mode_db=4.0, shift=0.03, reflection_db=-8.0))
    assert nearest(found, "peak", 46.0).tracked.cause is cause
    said = " ".join(" ".join(group_lines(found, names=("a", "b"))).split())
    assert "likely cause: room mode (1,0,0) between front and rear wall" in said


def test_reflections_are_found_where_they_were_put() -> None:
    # Known input: three delayed copies.
    left = pool(1, 36)[0].left
    assert left is not None
    times_s = find_early_reflections(left).times_s
    assert np.array(times_s) * 1e3 == pytest.approx(REFLECTIONS_MS["left"], abs=0.05)


def test_times_are_paired_one_to_one() -> None:
    # Closed form.
    assert pair_times([1e-3, 2e-3], [1.1e-3, 1.05e-3]) == [(1e-3, 1.05e-3)]
