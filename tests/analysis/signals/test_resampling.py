"""The low band against the full-rate transform and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.resampling import PAD_S, PASS_HZ, low_band
from benchmarks.modal_response import modal_response


def _impulse(at_s: float, *, start_s: float = 0.0, rate_hz: float = 48000.0) -> ImpulseResponse:
    samples = np.zeros(round(0.6 * rate_hz))
    samples[round(at_s * rate_hz)] = 1.0
    return ImpulseResponse(
        samples=samples,
        sample_rate_hz=rate_hz,
        start_s=start_s,
        noise=np.zeros(round(0.5 * rate_hz)),
        band_hz=(15.0, 20000.0),
    )


def _transform(
    samples: np.ndarray, rate_hz: float, start_s: float, at_hz: np.ndarray
) -> np.ndarray:
    time_s = start_s + np.arange(samples.size) / rate_hz
    return np.exp(-2j * np.pi * at_hz[:, None] * time_s) @ samples


@pytest.mark.parametrize("rate_hz", [44100.0, 48000.0, 96000.0])
def test_transform_is_kept(rate_hz: float) -> None:
    """Second method: the plain Fourier sum of the full-rate samples, at odd frequencies."""
    model = modal_response([31.0, 77.0, 412.0], [0.3, 0.2, 0.1], sample_rate_hz=rate_hz)
    response = model.impulse_response(np.random.default_rng(1), duration_s=0.9, start_s=0.0123)
    low = low_band(response)
    at_hz = np.array([15.1, 31.07, 80.0, 199.3, 900.0, PASS_HZ - 1])
    full = _transform(response.samples, rate_hz, response.start_s, at_hz)
    small = _transform(low.samples, low.sample_rate_hz, low.start_s, at_hz)
    assert np.max(np.abs(small / full - 1)) < 2e-4


@pytest.mark.parametrize("shift_s", [0.0, 0.0031, 0.1 / 48000])
def test_sum_respects_the_start(shift_s: float) -> None:
    """Closed form: two impulses t apart sum to 2 |cos(pi f t)|, whatever moved them apart."""
    total = low_band(_impulse(0.02), _impulse(0.02, start_s=shift_s))
    at_hz = np.array([20.0, 100.0, 161.0, 322.0])
    magnitude = np.abs(_transform(total.samples, total.sample_rate_hz, total.start_s, at_hz))
    assert magnitude == pytest.approx(2 * np.abs(np.cos(np.pi * at_hz * shift_s)), abs=1e-3)


def test_onset_is_that_of_the_first_sound() -> None:
    """Known input: an impulse at 0.25 s on an axis that starts at 1.5 s."""
    low = low_band(_impulse(0.25, start_s=1.5))
    assert low.onset_s == pytest.approx(1.75, abs=0.002)
    assert low.start_s == pytest.approx(1.5 - PAD_S)


def test_noise_powers_of_both_add() -> None:
    """Invariant: independent noises add in power, whatever their lengths."""
    rng = np.random.default_rng(2)

    def noisy(n_noise: int, rms: float) -> ImpulseResponse:
        return ImpulseResponse(
            samples=np.eye(1, 48000, 10)[0],
            sample_rate_hz=48000.0,
            start_s=0.0,
            noise=rms * rng.standard_normal(n_noise),
            band_hz=(15.0, 20000.0),
        )

    quiet, loud = noisy(24000, 1e-3), noisy(72000, 2e-3)
    at_hz, window = np.arange(20.0, 300.0), np.ones(1000)
    both = low_band(quiet, loud).noise_density(at_hz, window=window)
    apart = [low_band(one).noise_density(at_hz, window=window) for one in (quiet, loud)]
    assert both == pytest.approx(apart[0] + apart[1])


def test_unlike_rates_are_refused() -> None:
    """Known input: 44.1 and 48 kHz have no common samples."""
    with pytest.raises(ValueError, match="sampling frequencies"):
        low_band(_impulse(0.1), _impulse(0.1, rate_hz=44100.0))
    with pytest.raises(ValueError, match="sampling frequencies"):
        low_band()
