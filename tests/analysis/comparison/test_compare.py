"""What changed between two readings of an invented image-source room."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.comparison.compare import Comparison, compare


def test_a_move_of_12_mm_is_found(small: Comparison) -> None:
    # Known input: the right loudspeaker stands 12 mm farther, by geometry.
    arrival = small.arrival
    assert arrival is not None
    assert arrival.change == pytest.approx(-0.012, abs=2 * arrival.std)
    assert arrival.std < 0.5e-3
    assert arrival.beyond_uncertainty


def test_the_deciding_uncertainty_counts_the_room_twice(
    before: Any, after: Any, small: Comparison
) -> None:
    # Closed form: independent errors of one sigma each add in squares.
    arrival = small.arrival
    assert arrival is not None
    first, second = before.arrival.in_room_std_m, after.arrival.in_room_std_m
    assert arrival.counted_std == pytest.approx(np.hypot(first, second))
    assert arrival.counted_std > arrival.std


def test_three_decibels_of_gain_are_gain_and_nothing_else(small: Comparison) -> None:
    # Known input: everything after is 3 dB up; the left loudspeaker never moved.
    assert small.gain.changed
    assert small.gain.gain_db == pytest.approx(3, abs=0.05)
    assert small.direct is not None
    assert not small.direct.beyond_uncertainty
    assert all(not one.changes for one in small.features if one.curve == "left")


def test_which_loudspeaker_moved_is_told_from_the_reflections(
    small: Comparison, large: Comparison
) -> None:
    # Known input: only the right one moved, by 12 mm and by 0.3 m.
    for comparison in (small, large):
        assert comparison.move.moved == "right"
        assert not comparison.move_is_given


def test_exchanging_before_and_after_turns_the_signs_round(
    before: Any, after: Any, small: Comparison
) -> None:
    # Invariant: a change is antisymmetric.
    there = small
    back = compare(after.snapshot, before.snapshot)
    assert there.arrival is not None
    assert back.arrival is not None
    assert back.arrival.change == -there.arrival.change
    assert back.gain.gain_db == pytest.approx(-there.gain.gain_db, abs=1e-6)
    assert back.move.moved == there.move.moved


def test_a_reading_compared_with_itself_changed_nothing(before: Any) -> None:
    # Invariant: no difference, no change.
    comparison = compare(before.snapshot, before.snapshot)
    assert not comparison.gain.changed
    assert comparison.move.moved == "none"
    assert all(not one.changes for one in comparison.features)
    assert comparison.arrival is not None
    assert comparison.arrival.change == 0
    assert not comparison.arrival.beyond_uncertainty


def test_a_far_move_gives_evidence_for_both_causes(large: Comparison) -> None:
    # Known input: some of the dips belong to surfaces, some to modes, and 0.3 m is enough
    # for a boundary's to move; the loudspeaker that stayed gives no evidence.
    features = large.features
    assert {one.evidence for one in features if one.curve == "right"} == {None, "mode", "boundary"}
    assert all(one.evidence is None for one in features if one.curve != "right")


def test_a_small_move_gives_no_evidence_for_a_mode_in_low_bass(small: Comparison) -> None:
    # Closed form: 12 mm shift the dip of a boundary at 80 Hz by at most 0.9 Hz, 1.1 %.
    low = [one for one in small.features if one.frequency_hz < 150]
    assert low
    assert all(one.evidence != "mode" for one in low)


def test_a_moved_seat_gives_no_evidence(before: Any, far_after: Any) -> None:
    # Invariant: the evidence rests on one loudspeaker alone having moved.
    comparison = compare(before.snapshot, far_after.snapshot, moved="seat")
    assert comparison.move_is_given
    assert all(one.evidence is None for one in comparison.features)


def test_responses_without_noise_serve(before: Any, after: Any) -> None:
    # Second method: the noise measured apart and the late part of the response agree.
    bare = []
    for one in (before.snapshot, after.snapshot):
        left, right = (replace(side, noise=side.noise[:0]) for side in (one.left, one.right))
        bare.append(replace(one, left=left, right=right))
    comparison = compare(*bare)
    assert comparison.gain.gain_db == pytest.approx(3, abs=0.05)
    assert comparison.move.moved == "right"
    assert all(not one.changes for one in comparison.features if one.curve == "left")


def test_a_missing_side_leaves_the_other(before: Any, after: Any) -> None:
    # Invariant: what isn't there isn't compared.
    alone = replace(before.snapshot, right=None, arrival_m=None)
    comparison = compare(alone, after.snapshot)
    assert set(comparison.curves) == {"left"}
    assert comparison.arrival is None
    assert comparison.gain.right is None
    assert comparison.move.moved == "unknown"


def test_nonsense_is_refused(before: Any) -> None:
    # Bad argument: another word; responses of two sampling frequencies.
    snapshot = before.snapshot
    with pytest.raises(ValueError, match="'sofa' must be one of left, right"):
        compare(snapshot, snapshot, moved="sofa")  # type: ignore[arg-type]
    slower = replace(snapshot, left=replace(snapshot.left, sample_rate_hz=44_100.0))
    with pytest.raises(ValueError, match="sampling frequencies"):
        compare(snapshot, slower)


def test_exchanged_channels_are_not_as_told(before: Any, after: Any) -> None:
    # Known input: the right loudspeaker alone moved, whatever is told. With exchanged channels
    # the one that somebody moved as "left" is heard as the right one.
    comparison = compare(before.snapshot, after.snapshot, moved="left")
    assert comparison.contradiction == ("left", "right")
    assert comparison.move.moved == "unknown"
    assert not comparison.move_is_given
    assert all(one.evidence is None for one in comparison.features)


@pytest.mark.parametrize("moved", ["right", "both", "none", "seat", "unknown"])
def test_what_is_told_rightly_is_not_contradicted(before: Any, after: Any, moved: Any) -> None:
    # Known input: the right loudspeaker moved; only "left" names the other one.
    assert compare(before.snapshot, after.snapshot, moved=moved).contradiction is None


@pytest.mark.parametrize("distance_m", [0.001, 0.002, 0.005, 0.02, 0.05])
def test_no_size_of_a_move_makes_it_the_others(
    before: Any, measure_right_moved: Callable[[float], Any], distance_m: float
) -> None:
    # Known input: the right loudspeaker moved as told, by so much, with other noise.
    moved = measure_right_moved(distance_m)
    assert compare(before.snapshot, moved.snapshot, moved="right").contradiction is None
