"""The direct sound's gate against planted reflections."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.pair.direct_gate import LONGEST_S, SHORTEST_S, direct_gate_s
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
        (0.7e-3, 0.5, SHORTEST_S),
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
