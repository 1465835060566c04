"""Truth: *second method*, `scipy.signal.find_peaks`, on curves with and without plateaus."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import find_peaks

from analysis.basics.local_maxima import find_local_maxima


def assert_as_scipy(curve: np.ndarray, prominence: float) -> None:
    found = find_local_maxima(curve, prominence=prominence)
    indices, shape = find_peaks(curve, prominence=prominence)
    assert found.indices.tolist() == indices.tolist()
    # Bit for bit: both subtract the same samples.
    assert found.prominences.tolist() == shape["prominences"].tolist()
    assert found.left_bases.tolist() == shape["left_bases"].tolist()
    assert found.right_bases.tolist() == shape["right_bases"].tolist()


@given(st.lists(st.integers(-4, 4), min_size=1, max_size=40), st.integers(0, 4))
def test_on_steps_and_plateaus(levels: list[int], prominence: int) -> None:
    # Few values make many ties: plateaus, equal bases, equal maxima.
    assert_as_scipy(np.array(levels, dtype=np.float64), float(prominence))


@pytest.mark.parametrize("seed", range(5))
def test_on_a_random_walk(seed: int) -> None:
    walk = np.cumsum(np.random.default_rng(seed).standard_normal(3000))
    for prominence in (0.0, 1.0, 10.0):
        assert_as_scipy(walk, prominence)


@pytest.mark.parametrize("curve", [[], [1.0], [1.0, 1.0, 1.0], [3.0, 2.0, 1.0], [1.0, 2.0, 2.0]])
def test_where_there_is_none(curve: list[float]) -> None:
    # Closed form: no sample is higher than both its neighbours.
    assert find_local_maxima(np.array(curve), prominence=0.0).indices.size == 0
