"""Noise density against white noise of known variance."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.signals.power_density import power_density


def test_white_noise_has_its_variance_at_every_frequency() -> None:
    """Closed form: through a window of unit energy white noise has its variance."""
    noise = 0.3 * np.random.default_rng(1).standard_normal(200_000)
    frequency_hz = np.linspace(500, 20_000, 40)
    density = power_density(noise, frequency_hz, sample_rate_hz=48_000, block=512)
    np.testing.assert_allclose(density, 0.09, rtol=0.2)
    assert np.mean(density) == pytest.approx(0.09, rel=0.03)


def test_too_short_noise_is_refused() -> None:
    """Known input: two samples have no spectrum."""
    with pytest.raises(ValueError, match="at least 3"):
        power_density(np.zeros(2), np.array([100.0]), sample_rate_hz=48_000, block=512)
