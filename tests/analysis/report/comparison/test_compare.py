"""What changed, in words."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from analysis.comparison.common_gain import CommonGain
from analysis.comparison.compare import Comparison, compare
from analysis.comparison.feature_changes import Displacement
from analysis.report.comparison.compare import (
    arrival_text,
    bass_text,
    comparison_lines,
    evidence_texts,
    gain_texts,
    level_texts,
    moved_text,
)


def test_a_small_move_and_a_knob(small: Comparison) -> None:
    # Known input: the right loudspeaker 12 mm farther, 3 dB more of everything.
    text = " ".join(line.strip() for line in comparison_lines(small))
    assert "changed by −12.0 ± 1.4 mm (+44.3 before, +32.3 mm after)" in text
    assert "larger than the uncertainty" in text
    assert "both loudspeakers are 3.0 dB louder alike. That is a knob" in text
    assert "the right loudspeaker moved (by the early reflections)" in text
    assert "evidence for a room mode" not in text


def test_a_change_within_the_uncertainty_is_said(small: Comparison) -> None:
    # Known input: a hundredth of the change.
    assert small.arrival is not None
    tiny = replace(small.arrival, change=small.arrival.change / 100)
    assert "NOT larger than the uncertainty" in arrival_text(tiny)
    assert "no comparison" in arrival_text(None)


def test_no_knob_no_word_of_gain(large: Comparison) -> None:
    # Known input: no gain was changed.
    assert gain_texts(large) == []


def test_less_gain_is_quieter(small: Comparison) -> None:
    # Known input.
    gain = CommonGain(gain_db=-2.0, std_db=0.02, changed=True, left=None, right=None)
    assert "2.0 dB quieter alike" in gain_texts(replace(small, gain=gain))[0]


def test_level_says_which_way_and_whether_it_is_sure(large: Comparison) -> None:
    # Known input: a right loudspeaker farther away leaves the left the louder.
    (text,) = level_texts(large)
    assert "direct sound" in text
    assert "towards left" in text
    assert "no comparison" in level_texts(replace(large, direct=None, seat=None))[0]


def test_evidence_is_told_apart(large: Comparison, small: Comparison) -> None:
    # Known input: both kinds after 0.3 m; after nothing known, the reason why not.
    text = " ".join(evidence_texts(large))
    assert "evidence for a boundary" in text
    assert "evidence for a room mode" in text
    none = replace(small, features=())
    assert "too small" in evidence_texts(none)[0]
    unknown = Displacement(moved="right", distance_m=None, speed_of_sound_m_s=343.2)
    assert "isn't known" in evidence_texts(replace(none, move=unknown))[0]
    seat = Displacement(moved="seat", distance_m=None, speed_of_sound_m_s=343.2)
    assert evidence_texts(replace(none, move=seat)) == []


def test_what_moved_and_how_it_is_known(small: Comparison) -> None:
    # Known input: inferred, told, unknown.
    assert "by the early reflections" in moved_text(small)
    assert "as told" in moved_text(replace(small, move_is_given=True))
    unknown = Displacement(moved="unknown", distance_m=None, speed_of_sound_m_s=343.2)
    assert "can't be told" in moved_text(replace(small, move=unknown))


def test_bass_counts_and_names(large: Comparison) -> None:
    # Invariant: every kind of change that occurs is counted.
    text = bass_text(large.features)
    for word in {word for one in large.features for word in one.changes}:
        assert word in text
    assert bass_text(()) == "Bass: no peak or dip changed by more than the uncertainty."


def test_lines_fit(small: Comparison, large: Comparison) -> None:
    # Invariant: 78 columns.
    for comparison in (small, large):
        lines = comparison_lines(comparison)
        assert all(len(line) <= 78 for line in lines)


def test_another_loudspeaker_than_told_is_said(before: Any, after: Any) -> None:
    # Known input: the right one went from 44.3 mm nearer to 32.3 mm nearer; back, it grew.
    shrank = compare(before.snapshot, after.snapshot, moved="left")
    grew = compare(after.snapshot, before.snapshot, moved="left")
    for comparison in (shrank, grew):
        text = moved_text(comparison)
        assert text.startswith("Moved: NOT as told. You said the left loudspeaker, but the early")
        assert "(as told)" not in text
        assert len(comparison_lines(comparison)) <= 20
    assert "the difference grew" not in moved_text(shrank)
    assert re.search(r"the difference grew from 32\.\d mm to 44\.\d mm", moved_text(grew))
