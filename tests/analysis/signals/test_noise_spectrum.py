"""Noise density against known noise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from analysis.signals.noise_spectrum import (
    N_TAPERS,
    multitaper_noise_density,
    sine_tapers,
    welch_noise_density,
)

RATE_HZ = 3000.0


def test_tapers_are_orthonormal() -> None:
    """Closed form (Riedel and Sidorenko 1995): the sine tapers are orthonormal."""
    tapers = sine_tapers(500)
    assert tapers @ tapers.T == pytest.approx(np.eye(N_TAPERS), abs=1e-12)


def test_white_noise_has_its_variance() -> None:
    """Closed form: through a window of unit energy, white noise keeps its variance."""
    rng = np.random.default_rng(3)
    window = np.ones(1500)
    means = []
    for _ in range(40):
        density = multitaper_noise_density(0.2 * rng.standard_normal(3000), RATE_HZ)
        inside = (density.frequency_hz > 20) & (density.frequency_hz < 300)
        means.append([np.mean(density.smooth[inside]), np.mean(density.through(window)[inside])])
    smooth, with_lines = np.mean(means, axis=0)
    # The median of few cells leans to the safe side by 4 % (0.2 dB), as do chance lines.
    assert 0.04 * 0.98 < smooth < 0.04 * 1.06
    assert smooth <= with_lines < 0.04 * 1.1


def test_sloping_noise_follows_its_filter() -> None:
    """Closed form: white noise through 1/(1 - a z) has the density 1/|1 - a z|^2."""
    rng = np.random.default_rng(4)
    noise = signal.lfilter([1.0], [1.0, -0.9], rng.standard_normal(60 * 3000))
    at_hz = np.arange(20.0, 300.0)
    wanted = 1 / np.abs(1 - 0.9 * np.exp(-2j * np.pi * at_hz / RATE_HZ)) ** 2
    stretches = noise.reshape(40, -1)
    got = np.mean(
        [np.interp(at_hz, d.frequency_hz, d.smooth) for d in map(_density, stretches)], axis=0
    )
    assert np.max(np.abs(10 * np.log10(got / wanted))) < 1.0


def _density(noise: np.ndarray):
    return multitaper_noise_density(noise, RATE_HZ)


def test_hum_is_scaled_as_a_tone() -> None:
    """Closed form: a tone of amplitude a gives (a/2 sum w)^2 through any window w."""
    rng = np.random.default_rng(5)
    time_s = np.arange(1500) / RATE_HZ
    noise = 0.1 * np.cos(2 * np.pi * 50 * time_s) + 1e-3 * rng.standard_normal(1500)
    window = np.ones(3000)
    density = multitaper_noise_density(noise, RATE_HZ).through(window)
    at = np.argmin(np.abs(multitaper_noise_density(noise, RATE_HZ).frequency_hz - 50))
    true = (0.05 * window.sum()) ** 2 / np.sum(window**2)
    assert abs(10 * np.log10(density[at] / true)) < 3


def test_white_noise_has_its_variance_at_every_frequency() -> None:
    """Closed form: through a window of unit energy white noise has its variance."""
    noise = 0.3 * np.random.default_rng(1).standard_normal(200_000)
    frequency_hz = np.linspace(500, 20_000, 40)
    density = welch_noise_density(noise, frequency_hz, sample_rate_hz=48_000, block=512)
    np.testing.assert_allclose(density, 0.09, rtol=0.2)
    assert np.mean(density) == pytest.approx(0.09, rel=0.03)


def test_too_short_noise_is_refused() -> None:
    """Known input: two samples have no spectrum."""
    with pytest.raises(ValueError, match="at least 3"):
        welch_noise_density(np.zeros(2), np.array([100.0]), sample_rate_hz=48_000, block=512)
