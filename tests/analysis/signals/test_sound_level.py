"""A-weighted levels, and the shares of a day's and a week's dose."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.signals.sound_level import (
    WHO_ADULT_DBA,
    WHO_CHILD_DBA,
    Calibration,
    a_weighting_db,
    calibration_by_meter,
    exposure_of,
    niosh_share,
    recorded_level,
    who_share,
)

RATE_HZ = 48_000

TABLE_DB = (
    *(-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1),
    *(-13.4, -10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0),
    *(0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3),
)
"""IEC 61672-1:2013, table 3, 10 Hz to 20 kHz in third octaves (second-hand)."""


def sine(hz: float, *, seconds: float = 3.0, level: float = 1.0) -> NDArray[np.float64]:
    return level * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def test_the_weighting_is_the_standards_table() -> None:
    # Published table, at the exact frequencies it stands for; rounded to 0.1 dB.
    exact_hz = 1000 * 10 ** (np.arange(-20, 14) / 10)
    assert np.abs(a_weighting_db(exact_hz) - TABLE_DB).max() <= 0.05 + 1e-3
    assert a_weighting_db(0.0) < -290


def test_the_weighting_is_a_librarys() -> None:
    # Second method: pyfar's curve, between the table's frequencies too.
    pyfar = pytest.importorskip("pyfar")
    frequency_hz = np.geomspace(10, 20_000, 200)
    curve = pyfar.constants.frequency_weighting_curve("A", frequency_hz)
    assert np.abs(a_weighting_db(frequency_hz) - curve).max() < 0.002


@pytest.mark.parametrize("hz", [63.0, 1000.0, 6300.0])
def test_the_level_of_a_tone(hz: float) -> None:
    # Closed form: half a square, and the weighting.
    expected = 20 * np.log10(0.1) - 10 * np.log10(2) + a_weighting_db(hz)
    tone = sine(hz, level=0.1, seconds=20.0)
    level = recorded_level(tone, sample_rate_hz=RATE_HZ)
    assert level.mean_db == pytest.approx(float(expected), abs=0.06)
    middle = recorded_level(tone * np.hanning(tone.size), sample_rate_hz=RATE_HZ)
    assert middle.highest_db == pytest.approx(float(expected), abs=0.06)
    assert level.duration_s == 20.0


def test_noise_has_the_level_that_one_long_spectrum_gives() -> None:
    # Second method: the weighted sum of one spectrum of all of it.
    noise = np.cumsum(np.random.default_rng(3).normal(size=4 * RATE_HZ)) * 1e-4
    noise *= np.hanning(noise.size)
    power = np.abs(np.fft.rfft(noise)) ** 2
    weight_db = a_weighting_db(np.fft.rfftfreq(noise.size, 1 / RATE_HZ))
    true = 2 * (power * 10 ** (weight_db / 10)).sum() / noise.size**2
    found = recorded_level(noise, sample_rate_hz=RATE_HZ)
    assert found.mean_db == pytest.approx(10 * np.log10(true), abs=0.1)


def test_the_loudest_second_is_found_and_gaps_are_left_out() -> None:
    # Known input: a second at -23 dB in ten of silence, then nothing delivered for three.
    samples = np.zeros(10 * RATE_HZ)
    samples[4 * RATE_HZ : 5 * RATE_HZ] = sine(1000, seconds=1.0, level=0.1)
    level = recorded_level(samples, sample_rate_hz=RATE_HZ)
    assert -23.3 < level.highest_db < -23.0
    assert level.mean_db == pytest.approx(-33.0, abs=0.02)
    with_gap = np.concatenate([samples, np.full(3 * RATE_HZ, np.nan)])
    again = recorded_level(with_gap, sample_rate_hz=RATE_HZ)
    assert again.mean_db == pytest.approx(level.mean_db, abs=1e-6)
    assert again.duration_s == 10.0
    assert recorded_level(samples[:100], sample_rate_hz=RATE_HZ).mean_db == -300


@pytest.mark.parametrize("samples", [np.zeros(0), np.full(9, np.nan), np.zeros((2, 9))])
def test_nothing_has_no_level(samples: NDArray[np.float64]) -> None:
    with pytest.raises(ValueError, match="finite"):
        recorded_level(samples, sample_rate_hz=RATE_HZ)


def test_a_meter_beside_the_microphone_calibrates() -> None:
    # Known input: 74 dB(A) shown for -40 dB; a recording 6 dB louder has 80.
    calibration = calibration_by_meter(74.0, -40.0, std_db=2.0)
    quiet = recorded_level(sine(1000, level=0.02), sample_rate_hz=RATE_HZ)
    exposure = exposure_of(quiet, calibration)
    assert exposure.mean_dba == pytest.approx(114 - 36.99, abs=0.02)
    assert exposure.std_db == 2.0


@pytest.mark.parametrize(
    ("level_dba", "hours"), [(85, 8), (88, 4), (91, 2), (94, 1), (97, 0.5), (100, 0.25)]
)
def test_a_day_by_niosh(level_dba: float, hours: float) -> None:
    # Published table: NIOSH 98-126, table 1-1.
    assert niosh_share(level_dba, hours * 3600) == pytest.approx(1.0)


def test_a_week_by_who_and_itu() -> None:
    # Published table: H.870 (second-hand): 40 h at the limit, half of it 3 dB louder.
    for limit in (WHO_ADULT_DBA, WHO_CHILD_DBA):
        assert who_share(limit, 40 * 3600, limit_dba=limit) == pytest.approx(1.0)
        assert who_share(limit + 3, 20 * 3600, limit_dba=limit) == pytest.approx(1.0, rel=0.003)
    assert who_share(80, 3600, limit_dba=WHO_CHILD_DBA) == pytest.approx(10**0.5 / 40)


@pytest.mark.parametrize(("full_scale_dba", "std_db"), [(np.nan, 1.0), (100.0, -1), (100, np.inf)])
def test_a_calibration_must_be_one(full_scale_dba: float, std_db: float) -> None:
    with pytest.raises(ValueError, match="must be"):
        Calibration(full_scale_dba=full_scale_dba, std_db=std_db)
