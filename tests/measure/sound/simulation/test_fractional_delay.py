"""Band-limited interpolation between samples."""

from __future__ import annotations

import numpy as np
import pytest

from measure.sound.simulation.fractional_delay import BEFORE, FLAT_TO, TAPS, at_positions, pulses


@pytest.mark.parametrize("of_rate", [0.001, 0.1, 0.3, 0.4, FLAT_TO])
def test_a_sine_is_read_between_its_samples(of_rate: float) -> None:
    # Closed form.
    rng = np.random.default_rng(2)
    turn = 2 * np.pi * of_rate
    samples = np.array([np.sin(turn * np.arange(400)), np.cos(turn * np.arange(400))])
    position = rng.uniform(BEFORE, 400 - TAPS + BEFORE, 300)
    read = at_positions(samples, position)
    assert np.abs(read - [np.sin(turn * position), np.cos(turn * position)]).max() < 2e-4


def test_whole_positions_give_the_samples_themselves() -> None:
    # Invariant.
    samples = np.random.default_rng(3).standard_normal((1, 200))
    position = np.arange(BEFORE, 200 - TAPS + BEFORE + 1)
    assert np.allclose(at_positions(samples, position.astype(float)), samples[:, position])


def test_a_pulse_has_a_flat_spectrum_and_its_delay() -> None:
    # Closed form: the spectrum of a pulse at d is exp(-j 2 pi f d).
    delay, gain = np.array([100.37, 150.0]), np.array([0.8, -0.3])
    spectrum = np.fft.rfft(pulses(delay, gain, 256))
    of_rate = np.fft.rfftfreq(256)
    truth = (gain * np.exp(-2j * np.pi * np.outer(of_rate, delay))).sum(axis=1)
    flat = of_rate <= FLAT_TO
    assert np.abs(spectrum - truth)[flat].max() < 2e-4


def test_pulses_outside_are_left_out() -> None:
    assert np.array_equal(pulses(np.array([500.0]), np.ones(1), 100), np.zeros(100))
    # Of one at the border, what lies inside stays.
    assert pulses(np.array([0.0]), np.ones(1), 100)[0] == pytest.approx(1)
