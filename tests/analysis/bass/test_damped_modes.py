"""Fits of damped oscillations against planted ones."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bass.damped_modes import exponent_std, pencil_modes, refine_modes

EXPONENTS = np.array([-0.05 + 0.3j, -0.08 - 0.4j])
AMPLITUDES = np.array([1.0, 0.6j])


def _band(n_samples: int = 60) -> np.ndarray:
    return np.exp(np.arange(n_samples)[:, None] * EXPONENTS) @ AMPLITUDES


def test_planted_modes_come_back() -> None:
    """Known input: two modes without noise, to the rounding of the arithmetic."""
    _, modes = pencil_modes(_band(), 2)
    order = np.argsort(-modes.exponents.imag)
    assert modes.exponents[order] == pytest.approx(EXPONENTS, abs=1e-6)
    assert modes.amplitudes[order] == pytest.approx(AMPLITUDES, abs=1e-5)
    assert modes.residual_power < 1e-10


def test_std_is_the_scatter() -> None:
    """Known input: white noise; the scatter of 300 fits against the stated sigma."""
    rng = np.random.default_rng(1)
    clean, rms = _band(), 0.02
    covariance = rms**2 * np.eye(clean.size)
    got, stated = [], []
    for _ in range(300):
        noise = rms * (rng.standard_normal((2, clean.size)) / np.sqrt(2))
        samples = clean + noise[0] + 1j * noise[1]
        modes = refine_modes(samples, pencil_modes(samples, 2)[1])
        first = int(np.argmax(modes.exponents.imag))
        got.append(modes.exponents[first].real)
        stated.append(exponent_std(modes, covariance)[first])
    assert np.mean(got) == pytest.approx(-0.05, abs=3 * np.std(got) / np.sqrt(300))
    assert np.std(got) == pytest.approx(np.mean(stated), rel=0.12)


def test_too_few_samples_or_silence() -> None:
    """Known input: nothing to fit gives nothing."""
    assert pencil_modes(np.ones(3, dtype=complex), 2) == ()
    assert pencil_modes(np.zeros(40, dtype=complex), 2) == ()
