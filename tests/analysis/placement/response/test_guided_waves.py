"""Guided waves: against the plain sum along the line, and the polynomial's own error."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.basics.arrays import Complex, Float
from analysis.placement.response import guided_waves as subject
from analysis.placement.response.guided_waves import (
    GuidedWaves,
    ModeAxis,
    frequency_band,
    guided_waves,
)

C = 343.0
FREQUENCY_HZ = np.linspace(15.0, 300.0, 200)
SECTION_RAD_M = np.array([0.0, 0.63, 1.7, 3.1, 5.4, 5.6, 6.4, 9.0, 16.0])
DAMPINGS = (np.linspace(8.0, 12.0, 9), np.linspace(14.0, 10.0, 9))


def whole(waves: GuidedWaves, spread: Float) -> Complex:
    total = waves.rest @ spread
    total[: waves.resonant.shape[0]] += waves.resonant
    return total


def plain_sum(line: ModeAxis, slope: float) -> Complex:
    """Return the sum over 3000 cosines, and the integral of the further ones' mean."""
    k = 2 * np.pi * FREQUENCY_HZ / C
    turn = 2 * k * (FREQUENCY_HZ / 100) ** slope / C
    total = np.zeros((SECTION_RAD_M.size, k.size), dtype=complex)
    for n in range(3000):
        start = n * np.pi / line.length_m
        weight = (1 if n == 0 else 2) * np.cos(start * line.source_m) * np.cos(start * line.seat_m)
        loss = DAMPINGS[min(n, 1)][:, np.newaxis] * turn
        total += weight / (SECTION_RAD_M[:, np.newaxis] ** 2 + start**2 - k**2 + 1j * loss)
    return total


@pytest.mark.parametrize("slope", [0.0, 0.8, -0.8])
@pytest.mark.parametrize(("source_m", "seat_m"), [(0.7, 1.1), (0.0, 2.4), (2.5, 2.5)])
def test_the_closed_form_is_the_plain_sum(source_m: float, seat_m: float, slope: float) -> None:
    # Closed form: the series itself, term by term. What 3000 terms leave out is at most
    # 2 (H / pi)^2 / 3000.
    line = ModeAxis(length_m=2.5, source_m=source_m, seat_m=seat_m)
    band = frequency_band(FREQUENCY_HZ, loss_slope=slope, speed_of_sound_m_s=C)
    found = whole(guided_waves(SECTION_RAD_M, DAMPINGS, line, band), band.spread)
    known = plain_sum(line, slope)
    assert np.abs(found - known).max() < 2 * (2.5 / np.pi) ** 2 / 3000 * 1.05


@pytest.mark.parametrize("slope", [0.0, 1.5, -1.5])
def test_the_polynomial_is_off_by_little(slope: float) -> None:
    # Second method: the rest computed at each frequency, in bands of few.
    line = ModeAxis(length_m=2.5, source_m=0.7, seat_m=1.1)
    band = frequency_band(FREQUENCY_HZ, loss_slope=slope, speed_of_sound_m_s=C)
    found = guided_waves(SECTION_RAD_M, DAMPINGS, line, band).rest @ band.spread
    scale = np.abs(found).max(axis=1)
    exact = np.empty_like(found)
    for k in range(FREQUENCY_HZ.size):
        # The highest frequency decides what resonates, so it comes along.
        pair = frequency_band(FREQUENCY_HZ[[k, -1]], loss_slope=slope, speed_of_sound_m_s=C)
        assert pair.node_band is None
        exact[:, k] = guided_waves(SECTION_RAD_M, DAMPINGS, line, pair).rest[:, 0]
    off = np.abs(found - exact).max(axis=1) / scale
    assert off.max() < 3e-5
    assert off.max() > 0  # it is interpolated at all


def test_one_frequency_alone_and_many_agree() -> None:
    # Invariant: what else is asked doesn't matter.
    line = ModeAxis(length_m=2.5, source_m=0.7, seat_m=1.1)
    many = frequency_band(FREQUENCY_HZ, loss_slope=0.3, speed_of_sound_m_s=C)
    one = frequency_band(FREQUENCY_HZ[[77]], loss_slope=0.3, speed_of_sound_m_s=C)
    assert one.spread.shape == (1, 1)
    assert many.nodes.wavenumber_rad_m.size == subject.N_NODES
    known = whole(guided_waves(SECTION_RAD_M, DAMPINGS, line, many), many.spread)[:, 77]
    found = whole(guided_waves(SECTION_RAD_M, DAMPINGS, line, one), one.spread)[:, 0]
    np.testing.assert_allclose(found, known, rtol=1e-5)
