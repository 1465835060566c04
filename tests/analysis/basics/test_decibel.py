"""Decibels: closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.basics.decibel import (
    FLOOR_DB,
    amplitude_db,
    amplitude_from_db,
    power_db,
    power_from_db,
)


@given(st.floats(-200, 200))
def test_levels_survive_the_round_trip(level_db: float) -> None:
    """Invariant: there and back."""
    assert amplitude_db(amplitude_from_db(level_db)) == pytest.approx(level_db, abs=1e-9)
    assert power_db(power_from_db(level_db)) == pytest.approx(level_db, abs=1e-9)


def test_zero_has_the_floor_level() -> None:
    """Known input: nothing at all."""
    assert amplitude_db(0.0) == pytest.approx(FLOOR_DB)
    np.testing.assert_allclose(power_db([0.0, 1.0], floor_db=-80.0), [-80.0, 0.0])


def test_complex_amplitudes_count_by_magnitude() -> None:
    """Closed form: |3 + 4j| = 5."""
    assert amplitude_db(np.array([3 + 4j]))[0] == pytest.approx(20 * np.log10(5))


def test_negative_power_is_refused() -> None:
    """Known input: no power is negative."""
    with pytest.raises(ValueError, match=r"power -1\.0"):
        power_db([1.0, -1.0])
