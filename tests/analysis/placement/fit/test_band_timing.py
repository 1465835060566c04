"""Cross spectra of left and right from impulse responses with a common time axis."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from analysis.placement.band_levels import CENTRES_HZ, FREQUENCY_HZ, band_coherence
from analysis.placement.fit.band_timing import response_coherence
from analysis.signals.impulse_response import ImpulseResponse

RATE_HZ = 8000.0
WINDOW_S = (-0.1, 1.0)


def response(samples: np.ndarray, *, start_s: float = -0.1) -> ImpulseResponse:
    return ImpulseResponse(
        samples=samples,
        sample_rate_hz=RATE_HZ,
        start_s=start_s,
        noise=np.zeros(10),
        band_hz=(18.0, 3000.0),
    )


def late(delay_s: float, *, gain: float = 1.0) -> np.ndarray:
    samples = np.zeros(9600)
    samples[round((0.1 + delay_s) * RATE_HZ)] = gain
    return samples


def coherence(left: ImpulseResponse, right: ImpulseResponse) -> np.ndarray:
    return response_coherence(left, right, left_window_s=WINDOW_S, right_window_s=WINDOW_S)


def test_a_delay_turns_the_phase_and_a_gain_does_not() -> None:
    # Closed form: the left one 0.5 ms later lags by 2 pi f tau, whatever the gains.
    found = coherence(response(late(0.01)), response(late(0.0095, gain=0.2)))
    np.testing.assert_allclose(np.abs(found), 1, atol=1e-3)
    np.testing.assert_allclose(np.angle(found), -2 * np.pi * CENTRES_HZ * 5e-4, atol=2e-3)


def test_resonances_are_those_of_their_transfer_function() -> None:
    # Closed form: two resonators, evaluated on the unit circle; windows and bins cost little.
    poles = [np.exp((-8 + 2j * np.pi * at_hz) / RATE_HZ) for at_hz in (48.0, 71.0)]
    sides, known = [], []
    turn = np.exp(2j * np.pi * FREQUENCY_HZ / RATE_HZ)
    for pole in poles:
        polynomial = np.array([1.0, -2 * pole.real, abs(pole) ** 2])
        sides.append(response(lfilter([1.0], polynomial, late(0.0))))
        known.append(turn**2 / np.polyval(polynomial, turn))
    np.testing.assert_allclose(coherence(*sides), band_coherence(*known), atol=0.02)


def test_the_axis_counts_where_they_begin_apart() -> None:
    # Invariant: the same sound kept from another moment on.
    one, other = response(late(0.01)), response(late(0.01)[400:], start_s=-0.05)
    np.testing.assert_allclose(np.angle(coherence(one, other)), 0, atol=0.01)


def test_what_is_not_swept_or_has_a_gap_is_not_known() -> None:
    # Known input.
    one = replace(response(late(0.01)), band_hz=(40.0, 3000.0), gaps_hz=((98.0, 102.0),))
    found = coherence(one, response(late(0.01)))
    unknown = np.isnan(found)
    assert unknown[CENTRES_HZ < 42].all()
    assert unknown[12]
    assert np.flatnonzero(unknown).tolist() == [0, 1, 2, 3, 4, 12]
    with pytest.raises(ValueError, match="must be alike"):
        coherence(one, replace(one, sample_rate_hz=44100.0))
