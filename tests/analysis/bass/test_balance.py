"""Bass against the middle of the range: closed forms and known inputs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from analysis.bass.balance import BANDS_HZ, bass_balance, worst_features
from analysis.bass.curve import bass_curve
from analysis.bass.features import find_features
from analysis.signals.impulse_response import ImpulseResponse
from benchmarks.modal_response import modal_response


def _response(
    samples: np.ndarray, *, rms: float = 0.0, band_hz: tuple[float, float] = (15.0, 20000.0)
) -> ImpulseResponse:
    rng = np.random.default_rng(0)
    return ImpulseResponse(
        samples=samples + rms * rng.standard_normal(samples.size),
        sample_rate_hz=48000.0,
        start_s=0.0,
        noise=rms * rng.standard_normal(samples.size),
        band_hz=band_hz,
    )


def _impulse() -> np.ndarray:
    samples = np.zeros(48000)
    samples[960] = 1.0
    return samples


def test_flat_is_balanced() -> None:
    """Closed form: an impulse has 0 dB everywhere."""
    balance = bass_balance(bass_curve(_response(_impulse())))
    assert [b.band_hz for b in balance] == list(BANDS_HZ)
    assert [b.level_db for b in balance] == pytest.approx([0.0] * 3, abs=0.01)


def test_first_order_slope() -> None:
    """Closed form: 1/(1 + (f/f0)^2) averaged over ln f.

    That is the difference of ln f - ln(1 + (f/f0)^2)/2 between the ends, over ln of
    their ratio.
    """
    corner_hz = 120.0
    # A pole at the same corner; the bilinear map is off by 0.1 % at 1 kHz of 48 kHz.
    b, a = signal.butter(1, corner_hz, fs=48000.0)
    balance = bass_balance(bass_curve(_response(signal.lfilter(b, a, _impulse()))))

    def mean(low_hz: float, high_hz: float) -> float:
        ends = [math.log(f) - 0.5 * math.log(1 + (f / corner_hz) ** 2) for f in (low_hz, high_hz)]
        return (ends[1] - ends[0]) / math.log(high_hz / low_hz)

    true = [10 * math.log10(mean(*band) / mean(200.0, 1000.0)) for band in BANDS_HZ]
    assert [b.level_db for b in balance] == pytest.approx(true, abs=0.03)


def test_std_covers_noise() -> None:
    """Known input: a flat system in white noise 3 dB below it in each bin; 60 draws."""
    z = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        rms = 10 ** (-3 / 20) / math.sqrt(24000)
        samples = rms * rng.standard_normal(24000)
        samples[240] += 1.0
        response = ImpulseResponse(
            samples=samples,
            sample_rate_hz=8000.0,
            start_s=0.0,
            noise=rms * rng.standard_normal(24000),
            band_hz=(15.0, 3900.0),
        )
        z += [b.level_db / b.std_db for b in bass_balance(bass_curve(response)) if b.level_db]
    assert len(z) > 150
    assert 0.88 < np.mean(np.abs(z) < 2) <= 1.0


def test_what_is_not_covered_has_no_level() -> None:
    """Known input: sweeps from 40 Hz and from 60 Hz, and one that ends at 500 Hz."""
    from_40 = bass_balance(bass_curve(_response(_impulse(), band_hz=(40.0, 20000.0))))
    assert from_40[0].level_db is None
    assert from_40[0].reason == "not covered"
    assert from_40[1].level_db == pytest.approx(0.0, abs=0.01)
    from_60 = bass_balance(bass_curve(_response(_impulse(), band_hz=(60.0, 20000.0))))
    assert from_60[1].covered_hz == pytest.approx((60.0, 100.0))
    to_400 = bass_balance(bass_curve(_response(_impulse(), band_hz=(15.0, 400.0))))
    assert all(b.level_db is None for b in to_400)


def test_noise_alone_has_no_level() -> None:
    """Known input: a recording of nothing but noise."""
    balance = bass_balance(bass_curve(_response(np.zeros(48000), rms=1e-3)))
    assert [b.reason for b in balance] == ["noise"] * 3


def test_worst_are_the_broad_ones() -> None:
    """Known input: a broad peak counts more than a far deeper but needle-thin dip."""
    base = _impulse()
    peak = modal_response([45.0], 0.35, amplitude=0.004, onset_s=0.02).samples(1.0)
    # An echo 1/(2 * 120 Hz) later through a narrow band: a null at 120 Hz, 1 Hz wide.
    b, a = signal.iirnotch(120.0, 300.0, fs=48000.0)
    samples = signal.lfilter(b, a, base) + peak
    curve = bass_curve(_response(samples))
    features = find_features(curve)
    dips = [f for f in features if f.kind == "dip" and abs(f.frequency_hz - 120) < 1]
    worst = worst_features(curve, features)
    assert worst[0].kind == "peak"
    assert worst[0].frequency_hz == pytest.approx(45, abs=1)
    assert dips
    assert dips[0] not in worst[:1]
    assert len(worst) <= 2
    assert worst_features(curve, []) == ()
