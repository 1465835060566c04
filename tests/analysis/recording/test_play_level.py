"""How loud to play, from bursts of noise."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.recording.play_level import (
    STEP_DB,
    HeardBurst,
    band_level_dbfs,
    find_burst,
    next_peak_dbfs,
)

RATE_HZ = 48_000


def tone(frequency_hz: float, peak: float, n: int = RATE_HZ) -> np.ndarray:
    return peak * np.sin(2 * np.pi * frequency_hz * np.arange(n) / RATE_HZ)


def test_the_level_of_a_sine_in_the_band() -> None:
    # Closed form: a sine's mean square is half its peak's square; what lies outside the
    # band doesn't count.
    samples = tone(1000, 0.1) + tone(50, 0.5) + tone(8000, 0.5)
    assert band_level_dbfs(samples, RATE_HZ) == pytest.approx(-20 - 3.0103, abs=1e-3)
    assert band_level_dbfs(np.zeros(RATE_HZ), RATE_HZ) == -math.inf


@pytest.mark.parametrize("delay", [0, 5000, 20_000])
@pytest.mark.parametrize("gain_db", [-20.0, 0.0])
def test_a_burst_tells_what_a_sweep_will_do(delay: int, gain_db: float) -> None:
    # Known input: noise of -95 dBFS in the band, a burst at a known gain and delay. Second
    # method: a sine of the burst's peak, at the same gain, over the same noise.
    rng = np.random.default_rng(7)
    white = rng.standard_normal(60_000)
    noise = white * 10 ** ((-95 - band_level_dbfs(white, RATE_HZ)) / 20)
    burst = rng.standard_normal(24_000)
    burst *= 0.01 / np.abs(burst).max()
    # Keep to the band, as the real burst does.
    spectrum = np.fft.rfft(burst)
    at_hz = np.fft.rfftfreq(burst.size, 1 / RATE_HZ)
    spectrum[(at_hz < 550) | (at_hz > 1900)] = 0
    burst = np.fft.irfft(spectrum, burst.size)
    recorded = noise.copy()
    recorded[delay : delay + burst.size] += burst * 10 ** (gain_db / 20)
    heard = find_burst(recorded, burst, noise_dbfs=-95.0, sample_rate_hz=RATE_HZ)
    swept = tone(1000, float(np.abs(burst).max()) * 10 ** (gain_db / 20))
    assert heard.snr_db == pytest.approx(band_level_dbfs(swept, RATE_HZ) + 95, abs=0.5)
    assert heard.peak_dbfs == pytest.approx(20 * math.log10(np.abs(burst).max()))


def test_a_burst_below_the_noise_is_not_heard() -> None:
    # Known input: the burst is missing.
    rng = np.random.default_rng(8)
    noise = 0.01 * rng.standard_normal(60_000)
    level_dbfs = band_level_dbfs(noise, RATE_HZ)
    heard = find_burst(
        noise, tone(1000, 0.1, 24_000), noise_dbfs=level_dbfs, sample_rate_hz=RATE_HZ
    )
    assert heard.snr_db == -math.inf


@pytest.mark.parametrize(
    ("peak_dbfs", "snr_db", "expected"),
    [
        (-60.0, -math.inf, -54.0),
        (-60.0, 10.0, -54.0),
        (-60.0, 28.0, -58.0),
        (-60.0, 30.0, None),
        (-23.0, 0.0, -20.0),
        (-20.0, 0.0, None),
    ],
)
def test_steps_are_small_and_end_at_the_cap(
    peak_dbfs: float, snr_db: float, expected: float | None
) -> None:
    # Known input: what is missing, the largest step and the cap each decide once.
    heard = HeardBurst(peak_dbfs=peak_dbfs, level_dbfs=-50.0, snr_db=snr_db)
    found = next_peak_dbfs(heard, wanted_db=30.0, cap_dbfs=-20.0)
    assert found == expected
    assert found is None or found - peak_dbfs <= STEP_DB


def test_a_recording_shorter_than_the_burst() -> None:
    with pytest.raises(ValueError, match="can't hold a burst"):
        find_burst(np.zeros(10), np.ones(20), noise_dbfs=-95.0, sample_rate_hz=RATE_HZ)
