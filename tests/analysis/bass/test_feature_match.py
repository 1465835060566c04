"""One-to-one matching against planted pairs and a search through all pairings."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.bass.feature_match import match_features
from analysis.bass.features import Feature, Kind


def _feature(
    frequency_hz: float, kind: Kind = "dip", level_db: float = -8.0, std_hz: float = 0.1
) -> Feature:
    return Feature(
        kind=kind,
        frequency_hz=frequency_hz,
        frequency_std_hz=std_hz,
        level_db=level_db,
        prominence_db=10.0,
        level_std_db=0.3,
    )


def test_planted_changes() -> None:
    """Known input: one moved, one filled, one gone, one new, one of the other kind."""
    before = [_feature(40), _feature(60, level_db=-20), _feature(100), _feature(150, "peak")]
    after = [_feature(41), _feature(60, level_db=-5), _feature(150), _feature(220, "peak")]
    matches = match_features(before, after)
    assert [(p.first, p.second) for p in matches.pairs] == [
        (before[0], after[0]),
        (before[1], after[1]),
    ]
    assert matches.only_first == (before[2], before[3])
    assert matches.only_second == (after[2], after[3])
    moved, filled = matches.pairs
    assert moved.frequency_change_hz == pytest.approx(1.0)
    assert moved.frequency_change_std_hz == pytest.approx(0.1 * 2**0.5)
    assert filled.level_change_db == pytest.approx(15.0)
    assert filled.level_change_std_db == pytest.approx(0.3 * 2**0.5)


def test_most_pairs_before_the_nearest() -> None:
    """Known input: a greedy match of the nearest (62, 63) would leave 60 and 66 alone."""
    matches = match_features([_feature(60), _feature(62.9)], [_feature(62.5), _feature(66)])
    assert [(p.first.frequency_hz, p.second.frequency_hz) for p in matches.pairs] == [
        (60, 62.5),
        (62.9, 66),
    ]


def test_uncertain_features_get_a_wider_window() -> None:
    """Known input: 3 Hz apart at 30 Hz, one of them known to 2 Hz only."""
    assert match_features([_feature(30)], [_feature(33, std_hz=2.0)]).pairs
    assert not match_features([_feature(30)], [_feature(33)]).pairs


frequencies = st.lists(st.floats(20, 60), max_size=5)


@given(frequencies, frequencies)
@settings(deadline=None, max_examples=80)
def test_number_of_pairs_is_the_largest(first: list[float], second: list[float]) -> None:
    """Second method: the largest number of pairs over all permutations."""
    a, b = [_feature(f) for f in first], [_feature(f) for f in second]
    matches = match_features(a, b)
    small, large = sorted((first, second), key=len)
    best = 0
    for order in itertools.permutations(large, len(small)):
        windows = [
            max((2 ** (1 / 12) - 1) * min(x, y), 0.2 * 2**0.5)
            for x, y in zip(small, order, strict=True)
        ]
        near = np.abs(np.subtract(small, order)) <= windows if small else np.array([])
        best = max(best, int(np.sum(near)))
    assert len(matches.pairs) == best
    assert len(matches.only_first) == len(a) - best
    assert len(matches.only_second) == len(b) - best


def test_identity() -> None:
    """Invariant: a list matches itself wholly, without change."""
    same = [_feature(f) for f in (30, 31, 33, 80)]
    matches = match_features(same, same)
    assert [p.frequency_change_hz for p in matches.pairs] == [0.0] * 4
    assert not matches.only_first


def test_bad_window() -> None:
    """Known input: a window of nothing."""
    with pytest.raises(ValueError, match="window_octaves"):
        match_features([], [], window_octaves=0.0)
