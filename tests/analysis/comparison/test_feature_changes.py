"""What became of each peak and dip."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from analysis.bass.curve import BassCurve, bass_curve
from analysis.bass.features import find_features
from analysis.comparison.feature_changes import (
    Change,
    CurvePair,
    Displacement,
    FeatureChange,
    feature_changes,
    least_shift_hz,
)
from analysis.comparison.moved import Moved
from benchmarks.modal_response import modal_response

STILL = Displacement(moved="unknown", distance_m=None, speed_of_sound_m_s=343.2)


def curve_of(
    frequency_hz: list[float], amplitude: list[float], *, noise: float = 1e-6
) -> BassCurve:
    """Return the bass curve of an invented modal response."""
    model = modal_response(frequency_hz, 0.5, amplitude)
    return bass_curve(model.impulse_response(np.random.default_rng(2), noise=noise))


def changes(
    first: BassCurve, second: BassCurve, move: Displacement = STILL
) -> tuple[FeatureChange, ...]:
    return feature_changes(
        find_features(first),
        find_features(second),
        curves=CurvePair(name="left", before=first, after=second),
        move=move,
    )


def near(found: tuple[FeatureChange, ...], frequency_hz: float) -> FeatureChange:
    return min(found, key=lambda one: abs(one.frequency_hz - frequency_hz))


FREQUENCIES = [40.0, 70.0, 110.0, 160.0]
EVEN = [1.0, 1.0, 1.0, 1.0]


def test_the_same_curve_has_no_changes() -> None:
    # Invariant: another draw of the same noise level changes nothing beyond uncertainty.
    first, second = curve_of(FREQUENCIES, EVEN), curve_of(FREQUENCIES, EVEN)
    assert all(one.changes == () for one in changes(first, second))


def test_a_mode_at_another_frequency_moved() -> None:
    # Known input: one of the modes lies 3 % higher.
    first = curve_of(FREQUENCIES, EVEN)
    second = curve_of([40.0, 72.1, 110.0, 160.0], EVEN)
    moved = near(changes(first, second), 70)
    assert "moved" in moved.changes
    assert moved.frequency_change_hz == pytest.approx(2.1, abs=0.3)
    assert near(changes(first, second), 160).changes == ()


def test_a_stronger_mode_grew_and_the_other_way_shrank() -> None:
    # Known input: one mode 6 dB stronger.
    first = curve_of(FREQUENCIES, EVEN)
    second = curve_of(FREQUENCIES, [1.0, 1.0, 2.0, 1.0])
    grown = near(changes(first, second), 110)
    assert "grown" in grown.changes
    assert grown.level_change_db == pytest.approx(6.0, abs=0.5)
    assert "reduced" in near(changes(second, first), 110).changes


def test_a_mode_that_is_missing_is_gone_and_one_more_is_new() -> None:
    # Known input: a mode without amplitude.
    first = curve_of(FREQUENCIES, EVEN)
    second = curve_of(FREQUENCIES, [1.0, 0.0, 1.0, 1.0])
    assert near(changes(first, second), 70).changes == ("gone",)
    assert near(changes(second, first), 70).changes == ("new",)


def test_what_noise_would_hide_is_not_called_gone() -> None:
    # Known input: the second reading's noise buries the mode.
    first = curve_of(FREQUENCIES, EVEN)
    second = curve_of(FREQUENCIES, EVEN, noise=3.0)
    assert all("gone" not in one.changes for one in changes(first, second))


def test_a_dip_below_the_threshold_is_filled_not_gone() -> None:
    # Known input: two modes that leave a dip, and the same with a third one nearly filling it.
    first = curve_of([60.0, 100.0], [1.0, 1.0])
    dips = [one for one in find_features(first) if one.kind == "dip"]
    at_hz = min(dips, key=lambda one: abs(one.frequency_hz - 78)).frequency_hz
    second = curve_of([60.0, 100.0, at_hz], [1.0, 1.0, 0.10])
    found = near(changes(first, second), at_hz)
    assert found.kind == "dip"
    assert found.changes


@pytest.mark.parametrize(
    ("move", "shift", "evidence"),
    [
        (Displacement(moved="left", distance_m=0.5, speed_of_sound_m_s=343.2), 1.04, "boundary"),
        (Displacement(moved="left", distance_m=0.5, speed_of_sound_m_s=343.2), 1.0, "mode"),
        (Displacement(moved="left", distance_m=0.001, speed_of_sound_m_s=343.2), 1.0, None),
        (Displacement(moved="left", distance_m=None, speed_of_sound_m_s=343.2), 1.0, None),
        (Displacement(moved="right", distance_m=0.5, speed_of_sound_m_s=343.2), 1.04, None),
        (Displacement(moved="both", distance_m=None, speed_of_sound_m_s=343.2), 1.04, None),
    ],
)
def test_the_evidence_of_a_dip(move: Displacement, shift: float, evidence: str | None) -> None:
    # Known input: everything between two modes shifts by 4 %, or nothing does.
    first = curve_of([80.0, 120.0], [1.0, 1.0])
    second = curve_of([80.0 * shift, 120.0 * shift], [1.0, 1.0])
    dips = [one for one in changes(first, second, move) if one.kind == "dip" and one.after]
    assert dips
    assert near(tuple(dips), 98).evidence == evidence


def test_the_smallest_shift_is_two_sigma_or_a_hundredth() -> None:
    # Closed form.
    assert least_shift_hz(100, 2.0) == 4.0
    assert least_shift_hz(100, 0.1) == 1.0


def test_the_words_are_those_of_the_records() -> None:
    # Invariant: seven changes, six kinds of move.
    assert set(get_args(Change)) >= {"moved", "filled", "deepened", "gone", "new"}
    assert set(get_args(Moved)) == {"left", "right", "both", "none", "seat", "unknown"}
