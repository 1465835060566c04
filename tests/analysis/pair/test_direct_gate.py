"""The direct sound's gate against planted reflections."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.pair.direct_gate import LONGEST_S, SHORTEST_S, direct_gate_s, echo_level_db
from analysis.pair.level import match_levels
from analysis.signals.impulse_response import ImpulseResponse

RATE_HZ = 48_000


def response(*, echo_s: float | None, gain: float = 0.5) -> ImpulseResponse:
    """Return a spike at 10 ms and, if asked for, an echo behind it."""
    samples = np.zeros(4800)
    samples[480] = 1
    if echo_s is not None:
        samples[480 + round(echo_s * RATE_HZ)] = gain
    return ImpulseResponse(
        samples=samples,
        sample_rate_hz=RATE_HZ,
        start_s=0.0,
        noise=np.zeros(24_000),
        band_hz=(20.0, 20_000.0),
    )


@pytest.mark.parametrize(
    ("echo_s", "gain", "expected_s"),
    [
        (None, 0.5, LONGEST_S),
        (2.0e-3, 0.5, LONGEST_S),
        (1.2e-3, 0.5, 1.1e-3),
        (1.2e-3, 0.05, LONGEST_S),
        (0.7e-3, 0.5, 0.6e-3),
        (0.6e-3, 0.7, SHORTEST_S),
    ],
)
def test_gate_ends_before_the_first_reflection(
    echo_s: float | None, gain: float, expected_s: float
) -> None:
    """Known input: an echo of -6 dB ends the gate 0.1 ms before it, one of -26 dB doesn't."""
    found_s = direct_gate_s(
        (response(echo_s=None), 0.01), (response(echo_s=echo_s, gain=gain), 0.01)
    )
    assert found_s == pytest.approx(expected_s, abs=3e-5)


def test_gate_ends_before_a_predicted_reflection() -> None:
    """Known input: a room whose first reflection is told at 1 ms, not seen in the response."""
    clean = (response(echo_s=None), 0.01)
    assert direct_gate_s(clean, clean, predicted_s=[1.0e-3, 2e-3]) == pytest.approx(0.9e-3)
    assert direct_gate_s(clean, clean, predicted_s=[0.2e-3]) == SHORTEST_S


@pytest.mark.parametrize(("share", "delay_s"), [(0.7, 0.6e-3), (0.3, 1.1e-3), (-0.5, 0.45e-3)])
def test_echo_level_is_the_mean_over_log_frequency(share: float, delay_s: float) -> None:
    """Second method: the mean of |1 + a exp(-i w T)|^2 on a fine grid of log frequency."""
    frequency_hz = np.geomspace(714, 8000, 200_001)
    power = np.abs(1 + share * np.exp(-2j * np.pi * frequency_hz * delay_s)) ** 2
    expected_db = 10 * np.log10(np.mean(power))
    assert echo_level_db(share, delay_s, (714.0, 8000.0)) == pytest.approx(expected_db, abs=1e-3)


def test_side_walls_echo_neither_shifts_the_level_nor_passes_unseen() -> None:
    """Known input: an echo of 0.7 after 0.6 ms, which once shifted the level by 1.25 dB.

    Truth: equal direct sounds, so 0 dB; earlier echoes than the gate can avoid must show in
    sigma or withhold the figure.
    """
    for echo_s in (0.3e-3, 0.4e-3, 0.5e-3, 0.6e-3, 0.7e-3):
        pair = (response(echo_s=echo_s, gain=0.7), response(echo_s=None))
        gate_s = direct_gate_s(*((side, 0.01) for side in pair))
        found = match_levels(*pair, left_s=0.01, right_s=0.01, gate_s=gate_s).direct
        if found.left_minus_right_db is None:
            assert found.reason is not None
            assert "early reflection" in found.reason
        else:
            assert found.std_db is not None
            assert abs(found.left_minus_right_db) < 2 * found.std_db
        if echo_s >= 0.6e-3:
            assert found.left_minus_right_db == pytest.approx(0, abs=0.2)
