"""Peaks and dips against closed forms, scipy's prominences, and noise alone."""

from __future__ import annotations

import cmath
import dataclasses
import math

import numpy as np
import pytest
from scipy import signal

from analysis.basics.decibel import amplitude_db
from analysis.bass.curve import bass_curve
from analysis.bass.features import PROMINENCE_DB, find_features
from analysis.signals.impulse_response import ImpulseResponse
from benchmarks.modal_response import ModalResponse, modal_response, random_modes


def _extrema_hz(model: ModalResponse) -> dict[str, np.ndarray]:
    """Return the extrema of the closed form on a grid of 0.01 Hz."""
    at_hz = np.arange(15.0, 300.0, 0.01)
    level = amplitude_db(model.transfer(at_hz))
    return {
        kind: at_hz[signal.find_peaks(sign * level, prominence=1)[0]]
        for kind, sign in (("peak", 1), ("dip", -1))
    }


@pytest.mark.parametrize("frequency_hz", [25.3, 47.11, 118.6])
@pytest.mark.parametrize("decay_s", [0.25, 0.6, 1.1])
def test_width_is_that_of_the_mode(frequency_hz: float, decay_s: float) -> None:
    """Closed form (Kuttruff, sec. 3.1): half-power width 3 ln 10 / (pi T) = 2.2/T."""
    model = modal_response([frequency_hz], decay_s)
    curve = bass_curve(model.impulse_response(np.random.default_rng(0)))
    (peak,) = [f for f in find_features(curve) if f.kind == "peak"]
    width_hz = 3 * math.log(10) / (math.pi * decay_s)
    assert peak.width_hz == pytest.approx(width_hz, rel=0.05, abs=0.1)
    assert peak.q == pytest.approx(peak.frequency_hz / peak.width_hz)
    (top_hz,) = _extrema_hz(model)["peak"]
    assert peak.frequency_hz == pytest.approx(top_hz, abs=0.03)


def test_prominences_are_scipys() -> None:
    """Reference library: scipy.signal.peak_prominences on the unsmoothed level."""
    rng = np.random.default_rng(11)
    curve = bass_curve(random_modes(rng).impulse_response(rng))
    features = find_features(curve)
    for kind, sign in (("peak", 1), ("dip", -1)):
        found, _ = signal.find_peaks(sign * curve.level_db, prominence=PROMINENCE_DB)
        prominence, _, _ = signal.peak_prominences(sign * curve.level_db, found)
        ours = [f for f in features if f.kind == kind]
        assert [f.prominence_db for f in ours] == pytest.approx(list(prominence))
        assert [f.frequency_hz for f in ours] == pytest.approx(
            list(curve.frequency_hz[found]), abs=0.5 * curve.spacing_hz
        )
        assert all(f.prominence_db > 0 for f in ours)


def test_comb_dips_and_peaks() -> None:
    """Closed form: an echo 10 ms later at gain g dips at 50, 150 and 250 Hz.

    By 20 log10((1+g)/(1-g)) from the peaks at 100 and 200 Hz; the first dip stands out
    from the curve's lower end only, which is |1 + g e^(-i 2 pi 15 Hz 10 ms)|.
    """
    samples = np.zeros(48000)
    samples[480], samples[960] = 1.0, 0.6
    echo = ImpulseResponse(
        samples=samples, sample_rate_hz=48000.0, start_s=0.0, noise=np.zeros(24000),
        band_hz=(15.0, 20000.0),
    )  # fmt: skip
    features = find_features(bass_curve(echo))
    assert [f.kind for f in features] == ["dip", "peak", "dip", "peak", "dip"]
    assert [f.frequency_hz for f in features] == pytest.approx([50, 100, 150, 200, 250], abs=0.05)
    deep_db = 20 * math.log10(1.6 / 0.4)
    first_db = 20 * math.log10(abs(1 + 0.6 * cmath.exp(-2j * math.pi * 0.15)) / 0.4)
    wanted_db = [first_db, deep_db, deep_db, deep_db, deep_db]
    assert [f.prominence_db for f in features] == pytest.approx(wanted_db, abs=0.02)
    # 3 dB above the bottom: cos(pi w t) = (1 + g^2 - 10^0.3 (1 - g)^2) / (2 g).
    width_hz = math.acos((1 + 0.36 - 10**0.3 * 0.16) / 1.2) / math.pi / 0.01
    assert features[2].width_hz == pytest.approx(width_hz, rel=0.02)


@pytest.mark.parametrize("sound", [0.0, 1.0])
def test_noise_alone_lists_nothing(sound: float) -> None:
    """Known input: noise, and a flat system in noise from 20 to 0 dB below it; 400 curves.

    At most ``CHANCE`` = 0.5 % of them may list anything; 1 % of 400 is allowed here.
    """
    rng = np.random.default_rng(12)
    n_samples, n_listed = 24000, 0
    for trial in range(400):
        rms = 10 ** (-(trial % 21) / 20) / math.sqrt(n_samples)
        samples = rms * rng.standard_normal(n_samples)
        samples[240] += sound
        response = ImpulseResponse(
            samples=samples,
            sample_rate_hz=8000.0,
            start_s=0.0,
            noise=rms * rng.standard_normal(n_samples),
            band_hz=(15.0, 3900.0),
        )
        n_listed += bool(find_features(bass_curve(response)))
    assert n_listed <= 4


@pytest.mark.parametrize("snr_db", [20.0, 40.0])
def test_modes_are_found_in_noise(snr_db: float) -> None:
    """Known input: three modes well apart are found at 20 dB below the curve's highest peak."""
    rng = np.random.default_rng(13)
    model = modal_response([32.0, 55.0, 90.0], [0.6, 0.5, 0.4], phase=[0.3, 2.0, 4.0])
    noise = model.noise_for_snr(snr_db)
    n_found = 0
    for _ in range(15):
        features = find_features(bass_curve(model.impulse_response(rng, noise=noise)))
        peaks_hz = np.array([f.frequency_hz for f in features if f.kind == "peak"])
        n_found += sum(bool(np.any(np.abs(peaks_hz - f) < 2)) for f in model.frequency_hz)
    assert n_found >= 0.95 * 45


@pytest.mark.parametrize("snr_db", [60.0, 40.0, 25.0])
def test_frequency_is_within_its_std(snr_db: float) -> None:
    """Closed form: extrema of the exact curve; 2 sigma hold 90 to 100 % of the features."""
    rng = np.random.default_rng(14)
    within = []
    for _ in range(12):
        model = random_modes(rng)
        truth = _extrema_hz(model)
        noise = model.noise_for_snr(snr_db)
        for feature in find_features(bass_curve(model.impulse_response(rng, noise=noise))):
            error_hz = np.min(np.abs(truth[feature.kind] - feature.frequency_hz))
            within.append(error_hz < 2 * feature.frequency_std_hz)
    assert len(within) > 200
    assert np.mean(within) > 0.90


def test_nothing_across_a_gap() -> None:
    """Known input: a peak inside a gap isn't listed, nor one made by its edges."""
    response = modal_response([40.0, 70.0], 0.5, phase=[0.0, 1.5]).impulse_response(
        np.random.default_rng(0)
    )
    gappy = dataclasses.replace(response, gaps_hz=((60.0, 80.0),))
    kinds = [(f.kind, round(f.frequency_hz)) for f in find_features(bass_curve(gappy))]
    assert ("peak", 40) in kinds
    assert not [f for _, f in kinds if 59 <= f <= 81]


def test_bad_arguments() -> None:
    """Known input: thresholds that mean nothing."""
    curve = bass_curve(modal_response([40.0], 0.5).impulse_response(np.random.default_rng(0)))
    with pytest.raises(ValueError, match="prominence_db"):
        find_features(curve, prominence_db=0.0)
    with pytest.raises(ValueError, match="chance"):
        find_features(curve, chance=1.0)
