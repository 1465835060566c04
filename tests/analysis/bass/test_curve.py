"""The bass curve against closed forms of sampled damped oscillations."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.basics.decibel import amplitude_db
from analysis.bass.curve import bass_curve, half_power_width_hz
from analysis.signals.impulse_response import ImpulseResponse
from benchmarks.modal_response import modal_response, random_modes


def test_level_is_the_closed_form() -> None:
    """Closed form: geometric series of each sampled mode, complex, over the whole range."""
    model = modal_response([28.0, 46.0, 71.0, 140.0], [0.5, 0.4, 0.4, 0.3], phase=[0, 1, 2, 3])
    curve = bass_curve(model.impulse_response(np.random.default_rng(0), start_s=0.0))
    true = model.transfer(curve.frequency_hz)
    assert np.max(np.abs(curve.response / true - 1)) < 2e-3
    assert curve.level_db == pytest.approx(amplitude_db(true), abs=0.02)


def test_bins_cover_the_range() -> None:
    """Known input: a full-range sweep is read from 15 to 300 Hz, at most 0.5 Hz apart."""
    curve = bass_curve(modal_response([50.0], 0.4).impulse_response(np.random.default_rng(0)))
    assert curve.band_hz == pytest.approx((15.0, 300.0))
    assert curve.spacing_hz <= 0.5
    assert np.all(np.diff(curve.frequency_hz) > 0)


def test_sweep_from_above_covers_less() -> None:
    """Known input: a sweep from 31 Hz, and one that ends below the bass."""
    model = modal_response([50.0], 0.4)
    rng = np.random.default_rng(0)
    curve = bass_curve(model.impulse_response(rng, band_hz=(31.0, 20000.0)))
    assert curve.band_hz == pytest.approx((31.0, 300.0))
    with pytest.raises(ValueError, match="must cover part of"):
        bass_curve(model.impulse_response(rng, band_hz=(400.0, 20000.0)))


def test_gap_is_not_covered() -> None:
    """Known input: no clean data from 60 to 80 Hz."""
    response = modal_response([50.0], 0.4).impulse_response(np.random.default_rng(0))
    curve = bass_curve(dataclasses.replace(response, gaps_hz=((60.0, 80.0),)))
    inside = (curve.frequency_hz >= 60) & (curve.frequency_hz <= 80)
    assert np.array_equal(curve.covered, ~inside)


def test_both_is_the_complex_sum() -> None:
    """Closed form: a copy that comes t later cancels at 1/(2t) and adds 6.02 dB at 1/t."""
    rng = np.random.default_rng(0)
    model = modal_response([60.0, 90.0], 0.3)
    left = model.impulse_response(rng)
    right = model.impulse_response(rng, start_s=0.010)
    both, alone = bass_curve(left, right), bass_curve(left)
    gain = both.level_db - alone.level_db
    at = {f: int(np.argmin(np.abs(both.frequency_hz - f))) for f in (50.0, 100.0, 150.0)}
    assert gain[at[100.0]] == pytest.approx(20 * math.log10(2), abs=0.02)
    assert gain[at[50.0]] < -30
    assert gain[at[150.0]] < -30


def test_resolution_of_a_rectangle() -> None:
    """Closed form: half-power width of a rectangle's transform, 0.8859/T."""
    assert half_power_width_hz(np.ones(3000), 3000.0) == pytest.approx(0.8859, abs=0.005)


def test_two_modes_a_resolution_and_a_half_apart_are_two_peaks() -> None:
    """Known input: the stated resolution resolves; long decays, so the window sets it."""
    rng = np.random.default_rng(0)
    start = modal_response([60.0, 65.0], 2.5).impulse_response(rng)
    spacing_hz = 1.5 * bass_curve(start).resolution_hz
    model = modal_response([60.0, 60.0 + spacing_hz], 6.0, phase=[0.0, math.pi / 2])
    curve = bass_curve(model.impulse_response(rng))
    near = (curve.frequency_hz > 58) & (curve.frequency_hz < 64)
    level = curve.level_db[near]
    n_maxima = np.sum((level[1:-1] > level[:-2]) & (level[1:-1] > level[2:]))
    assert n_maxima >= 2


def test_window_ends_in_the_noise_but_resolves() -> None:
    """Closed form: a mode of 0.6 s meets noise 40 dB below its peak after some 0.3 s."""
    rng = np.random.default_rng(6)
    model = modal_response([40.0], 0.6)
    noisy = bass_curve(model.impulse_response(rng, noise=model.noise_for_snr(40)))
    clean = bass_curve(model.impulse_response(rng))
    assert clean.window_s[1] == pytest.approx(1.5, abs=0.01)
    assert 0.5 <= noisy.window_s[1] - noisy.low_band.onset_s < 1.0
    assert noisy.resolution_hz < 2.0


def test_stated_noise_is_the_noise() -> None:
    """Known input: white noise of known RMS; levels scatter as stated, at 25 and 50 dB."""
    rng = np.random.default_rng(7)
    for snr_db in (25.0, 50.0):
        within, noise_db = [], []
        for _ in range(12):
            model = random_modes(rng)
            noise = model.noise_for_snr(snr_db)
            curve = bass_curve(model.impulse_response(rng, noise=noise))
            error = curve.level_db - amplitude_db(model.transfer(curve.frequency_hz))
            std = np.hypot(curve.level_std_db, 0.01)
            within.append(np.mean(np.abs(error) < 2 * std))
            window_s = curve.window_s[1] - curve.window_s[0]
            expected_db = 20 * math.log10(noise * math.sqrt(48000 * window_s))
            noise_db.append(np.mean(curve.noise_level_db) - expected_db)
        assert 0.88 < np.mean(within) < 0.995
        assert -1.5 < np.mean(noise_db) < 0.3  # the falling window holds less energy


def test_silence_is_a_flat_line() -> None:
    """Known input: nothing recorded gives finite numbers, not an error."""
    silent = ImpulseResponse(
        samples=np.zeros(48000),
        sample_rate_hz=48000.0,
        start_s=0.0,
        noise=np.zeros(24000),
        band_hz=(15.0, 20000.0),
    )
    assert np.all(bass_curve(silent).level_db <= -299)


@given(gain_db=st.floats(-60, 20), delay_s=st.floats(-2, 2))
@settings(deadline=None, max_examples=15)
def test_gain_and_delay(gain_db: float, delay_s: float) -> None:
    """Invariant: gain adds to the level, delay changes nothing but phase."""
    model = modal_response([33.0, 52.0, 120.0], [0.6, 0.4, 0.3])
    response = model.impulse_response(np.random.default_rng(8), noise=1e-6)
    moved = dataclasses.replace(
        response,
        samples=response.samples * 10 ** (gain_db / 20),
        noise=response.noise * 10 ** (gain_db / 20),
        start_s=delay_s,
    )
    before, after = bass_curve(response), bass_curve(moved)
    assert after.level_db == pytest.approx(before.level_db + gain_db, abs=1e-6)
    turned = before.response * np.exp(-2j * np.pi * before.frequency_hz * delay_s)
    assert np.max(np.abs(after.response / turned / 10 ** (gain_db / 20) - 1)) < 1e-6


def test_curves_cannot_be_written_to() -> None:
    """Invariant: results are frozen."""
    curve = bass_curve(modal_response([50.0], 0.4).impulse_response(np.random.default_rng(0)))
    with pytest.raises(ValueError, match="read-only"):
        curve.level_db[0] = 0.0
    with pytest.raises(ValueError, match="read-only"):
        curve.response[0] = 0.0
