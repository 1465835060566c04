"""Harmonics against the closed form of a polynomial loudspeaker."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import fft

from analysis.signals.harmonics import HarmonicLevel, harmonic_levels
from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep, sweep_samples
from benchmarks.recorder import Distortion, polynomial, record

RATE_HZ = 48_000
BEFORE_S = 1.3
ARRIVAL_S = 0.01
PEAK = 0.1
SECOND_DB, THIRD_DB = -40.0, -50.0
A_2 = 2 * 10 ** (SECOND_DB / 20) / PEAK
A_3 = 4 * 10 ** (THIRD_DB / 20) / PEAK**2
PROGRAMME = Programme(
    sweep=Sweep(start_hz=15, stop_hz=22_000, duration_s=6, level_dbfs=-20),
    order="L",
    sample_rate_hz=RATE_HZ,
    lead_in_s=0.5,
    tail_s=0.5,
)


def deconvolved(samples: np.ndarray, *, clock_ratio: float = 1.0) -> np.ndarray:
    """Return the response from `BEFORE_S` before the pass on, by plain division."""
    sweep = PROGRAMME.sweep
    played = sweep_samples(sweep, sample_rate_hz=RATE_HZ, clock_ratio=clock_ratio)
    n_fft = fft.next_fast_len(samples.size + played.size, real=True)
    spectrum = fft.rfft(played, n_fft)
    frequency_hz = fft.rfftfreq(n_fft, 1 / RATE_HZ)
    power = np.abs(spectrum) ** 2
    inside = (frequency_hz > sweep.start_hz) & (frequency_hz < sweep.stop_hz)
    inverse = np.conj(spectrum) / (power + np.where(inside, 1e-9, 1.0) * power.max())
    response = fft.irfft(fft.rfft(samples, n_fft) * inverse, n_fft)
    before = round(BEFORE_S * RATE_HZ)
    start = round((1.0 + PROGRAMME.starts_s[0] * clock_ratio) * RATE_HZ)
    return np.roll(response, before - start)[: before + RATE_HZ // 2]


def room(seed: int | None = None) -> np.ndarray:
    """Return a spike at 10 ms, with a random tail of 0.3 s decay time if given a seed."""
    response = np.zeros(9600)
    response[round(ARRIVAL_S * RATE_HZ)] = 1
    if seed is not None:
        time_s = np.arange(response.size) / RATE_HZ - ARRIVAL_S - 0.002
        tail = np.random.default_rng(seed).standard_normal(response.size)
        response += 0.05 * tail * 10 ** (-3 * np.clip(time_s, 0, None) / 0.3) * (time_s > 0)
    return response


def measured(
    response: np.ndarray,
    distortion: Distortion | None,
    *,
    snr_db: float | None = None,
    clock_ppm: float = 0.0,
) -> dict[int, HarmonicLevel]:
    """Record, deconvolve and read the harmonics, by order."""
    wanted = {"clock_ppm": clock_ppm, "distortion": distortion}
    clean = record(PROGRAMME, [response, 0 * response], **wanted)
    ratio = 1 + clock_ppm * 1e-6
    samples = deconvolved(clean, clock_ratio=ratio)
    noise = np.zeros(RATE_HZ)
    if snr_db is not None:
        rng = np.random.default_rng(3)
        noisy = record(PROGRAMME, [response, 0 * response], snr_db=snr_db, rng=rng, **wanted)
        floor = deconvolved(noisy - clean, clock_ratio=ratio)
        samples, noise = samples + floor, floor[:RATE_HZ]
    found = harmonic_levels(
        samples,
        sample_rate_hz=RATE_HZ,
        start_s=-BEFORE_S,
        arrival_s=ARRIVAL_S,
        sweep=PROGRAMME.sweep,
        noise=noise,
        clock_ratio=ratio,
    )
    return {level.order: level for level in found}


def expected_db(order: int) -> float:
    """Return the closed form for a tone of amplitude `PEAK`.

    |H2| = a2 A / 2 and |H3| = a3 A^2 / 4, over |H1| = 1 + 3 a3 A^2 / 4 (power reduction of
    the cosine, any handbook).
    """
    size = {2: A_2 * PEAK / 2, 3: A_3 * PEAK**2 / 4}[order]
    return 20 * math.log10(size / (1 + 0.75 * A_3 * PEAK**2))


def test_polynomial_loudspeaker_is_found_in_the_free_field() -> None:
    """Closed form: -40 and -50 dB less the gain of the fundamental, 80 Hz to the top."""
    found = measured(room(), polynomial(1.0, A_2, A_3))
    # The top octave of the sweep tapers by 6 dB; the excitations here stay below it.
    for order, level in found.items():
        inside = level.frequency_hz > 75
        assert not np.any(level.is_bound)
        assert np.max(level.frequency_hz) > 22_000 / order / 1.6
        np.testing.assert_allclose(level.level_db[inside], expected_db(order), atol=0.02)
        np.testing.assert_allclose(level.source_level_db[inside], expected_db(order), atol=0.06)
        np.testing.assert_allclose(level.level_db[~inside], expected_db(order), atol=0.8)


def test_room_divides_out_of_the_source_level() -> None:
    """Closed form: the loudspeaker's own harmonics, whatever the room does after it."""
    found = measured(room(seed=4), polynomial(1.0, A_2, A_3))
    for order, level in found.items():
        inside = level.frequency_hz > 150
        np.testing.assert_allclose(level.source_level_db[inside], expected_db(order), atol=0.3)
        assert np.std(level.level_db[inside]) > 2 * np.std(level.source_level_db[inside])


def test_clock_difference_doesnt_matter() -> None:
    """Invariant: 200 ppm, deconvolved with the stretched sweep."""
    found = measured(room(), polynomial(1.0, A_2, A_3), clock_ppm=200.0)
    for order, level in found.items():
        inside = level.frequency_hz > 75
        np.testing.assert_allclose(level.level_db[inside], expected_db(order), atol=0.02)


def test_each_order_stays_in_its_window() -> None:
    """Known input: a loudspeaker with a second harmonic only has no third, and no bound high."""
    found = measured(room(), polynomial(1.0, A_2))
    assert np.max(found[2].level_db) == pytest.approx(SECOND_DB, abs=0.8)
    assert np.max(found[3].level_db[found[3].frequency_hz > 75]) < -80


def test_linear_loudspeaker_has_no_harmonics() -> None:
    """Known input: y = x, without noise."""
    for level in measured(room(seed=5), None).values():
        assert np.all(level.level_db[level.frequency_hz > 75] < -70)


def test_noise_gives_a_bound_not_a_level() -> None:
    """Known input: no distortion at 20 dB SNR; then -40 dB at 40 dB SNR is found again."""
    for order, level in measured(room(), None, snr_db=20.0).items():
        assert np.mean(level.is_bound) > 0.9, order
        assert np.all(level.level_db > -60)
    found = measured(room(), polynomial(1.0, A_2, A_3), snr_db=40.0)[2]
    assert not np.any(found.is_bound)
    np.testing.assert_allclose(found.level_db, expected_db(2), atol=1.5)


def test_order_without_its_window_is_left_out() -> None:
    """Known input: samples that begin after the third harmonic."""
    whole = deconvolved(record(PROGRAMME, [room(), 0 * room()]))
    late = round((BEFORE_S - 0.75) * RATE_HZ)
    found = harmonic_levels(
        whole[late:],
        sample_rate_hz=RATE_HZ,
        start_s=-0.75,
        arrival_s=ARRIVAL_S,
        sweep=PROGRAMME.sweep,
        noise=np.zeros(RATE_HZ),
    )
    assert [level.order for level in found] == [2]


def test_arrival_outside_the_samples_is_refused() -> None:
    """Known input: an arrival before the first sample."""
    with pytest.raises(ValueError, match="arrival_s -2"):
        harmonic_levels(
            np.zeros(100),
            sample_rate_hz=RATE_HZ,
            start_s=-1.0,
            arrival_s=-2.0,
            sweep=PROGRAMME.sweep,
            noise=np.zeros(100),
        )
