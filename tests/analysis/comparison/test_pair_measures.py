"""A pair's bass and symmetry in a few numbers."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.comparison.pair_measures import measure_repeats, pair_measures

GRID_HZ = 20.0 * 2 ** (np.arange(188) / 48)
WIDE_HZ = np.geomspace(20, 20_000, 121)


def measures(left_db: np.ndarray, right_db: np.ndarray, wide_db: np.ndarray) -> dict[str, float]:
    return pair_measures(GRID_HZ, np.stack([left_db, right_db]), WIDE_HZ, wide_db)


def test_a_straight_falling_line_is_even_and_alike() -> None:
    # Closed form: a line over the logarithm of frequency leaves nothing.
    line, wide = -2.0 * np.log2(GRID_HZ), -2.0 * np.log2(WIDE_HZ)
    found = measures(line, line, np.stack([wide, wide]))
    assert found["evenness of the bass"] == pytest.approx(0.0, abs=1e-9)
    assert found["worst dip of the bass"] == pytest.approx(0.0, abs=1e-9)
    assert found["unlikeness of left and right, 25 to 200 Hz"] == pytest.approx(0.0, abs=1e-9)


def test_a_ripple_has_its_own_size() -> None:
    # Closed form: a sine of amplitude a has the standard deviation a over root 2, about.
    ripple = 3.0 * np.sin(2 * np.pi * 4 * np.log2(GRID_HZ / 25) / 3)
    found = measures(ripple, ripple, np.zeros((2, WIDE_HZ.size)))
    assert found["evenness of the bass"] == pytest.approx(3 / np.sqrt(2), rel=0.05)
    assert found["worst dip of the bass"] == pytest.approx(-3.0, abs=0.5)


def test_the_extension_of_a_second_order_corner() -> None:
    # Closed form: a power of 1 / (1 + (f0/f)^4) falls by 6 dB where (f0/f)^4 is 10^0.6 - 1.
    level = -10 * np.log10(1 + (40.0 / WIDE_HZ) ** 4)
    found = measures(np.zeros(188), np.zeros(188), np.stack([level, level]))
    mean = float(np.mean(level[(WIDE_HZ >= 50) & (WIDE_HZ <= 200)]))
    expected = 40.0 / (10 ** ((6 - mean) / 10) - 1) ** 0.25
    assert found["extension of the bass"] == pytest.approx(expected, rel=0.01)


def test_a_dip_is_no_end_of_the_bass() -> None:
    # Invariant: a hole at 100 Hz, 12 dB deep, doesn't raise the extension to it.
    level = -10 * np.log10(1 + (40.0 / WIDE_HZ) ** 4)
    level -= 12 * np.exp(-0.5 * (np.log2(WIDE_HZ / 100) / 0.1) ** 2)
    found = measures(np.zeros(188), np.zeros(188), np.stack([level, level]))
    assert 25 < found["extension of the bass"] < 35


def test_sides_that_differ_by_a_constant_are_alike() -> None:
    # Invariant: a level difference is no unlikeness; a tilt of 6 dB a decade is one.
    flat = np.zeros(WIDE_HZ.size)
    found = measures(np.zeros(188), np.zeros(188), np.stack([flat, flat + 3]))
    assert found["unlikeness of left and right, 200 to 2000 Hz"] == pytest.approx(0.0, abs=1e-9)
    tilted = np.stack([flat, 6 * np.log10(WIDE_HZ)])
    found = measures(np.zeros(188), np.zeros(188), tilted)
    assert found["unlikeness of left and right, 200 to 2000 Hz"] == pytest.approx(
        6 / np.sqrt(12), rel=0.05
    )


def test_what_was_not_sampled_is_left_out() -> None:
    # Known input: nothing above 1 kHz.
    wide = np.where(WIDE_HZ < 1000, 0.0, np.nan) * np.ones((2, 1))
    one = measures(np.zeros(188), np.zeros(188), wide)
    names = {quantity.name for quantity in measure_repeats([[one], [one]])}
    assert "unlikeness of left and right, 25 to 200 Hz" in names
    assert "unlikeness of left and right, 2000 to 10000 Hz" not in names
