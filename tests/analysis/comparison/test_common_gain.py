"""What both loudspeakers' level changed by alike."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.comparison.common_gain import SideChange, common_gain, side_change


def side(change_db: float, *, std_db: float = 0.02) -> SideChange:
    return SideChange(change_db=change_db, std_db=std_db, spread_db=0.1)


def test_equal_changes_are_gain() -> None:
    # Known input: a knob.
    gain = common_gain(side(3.0), side(3.0))
    assert gain.changed
    assert gain.gain_db == pytest.approx(3)


def test_a_balance_knob_is_no_gain() -> None:
    # Known input: left up, right untouched; nothing is common.
    assert common_gain(side(3.0), side(0.0)).gain_db == 0


def test_what_both_share_is_the_smaller_of_two_changes() -> None:
    # Known input: the volume 2 dB up and the balance 3 dB to the left.
    assert common_gain(side(5.0), side(2.0)).gain_db == pytest.approx(2)
    assert common_gain(side(-5.0), side(-2.0)).gain_db == pytest.approx(-2)


def test_the_side_that_stayed_weighs_most() -> None:
    # Closed form: weights of 1/std**2.
    gain = common_gain(side(3.0, std_db=0.02), side(3.6, std_db=0.4))
    assert gain.gain_db == pytest.approx(
        (3.0 / 0.02**2 + 3.6 / 0.4**2) / (1 / 0.02**2 + 1 / 0.4**2)
    )


def test_an_uncertain_change_is_no_gain() -> None:
    # Known input: both moved, the mean of what interference did to each.
    assert not common_gain(side(0.6, std_db=0.5), side(-0.1, std_db=0.6)).changed


def test_one_side_alone_tells_nothing() -> None:
    # Invariant: common needs two.
    assert not common_gain(side(3.0), None).changed


@given(st.floats(-20, 20), st.floats(-20, 20))
def test_signs_turn_round(left_db: float, right_db: float) -> None:
    # Invariant: before and after exchanged.
    there = common_gain(side(left_db), side(right_db))
    back = common_gain(side(-left_db), side(-right_db))
    assert back.gain_db == pytest.approx(-there.gain_db)


@pytest.mark.parametrize("gain_db", [-6.0, 0.3, 12.0])
def test_a_scaled_response_changed_by_its_scale(before: Any, gain_db: float) -> None:
    # Known input: the same response times a factor.
    scaled = replace(before.left, samples=before.left.samples * 10 ** (gain_db / 20))
    change = side_change(before.left, scaled)
    assert change is not None
    assert change.change_db == pytest.approx(gain_db, abs=0.01)
    assert change.spread_db < 0.01
