"""The simulated recorder against closed forms and against its second path."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import fft

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from benchmarks import faults
from benchmarks.recorder import (
    interpolated,
    noise_samples,
    polynomial,
    programme_samples,
    record,
    record_played,
)

RATE_HZ = 48_000


def short_programme(*, order: str = "LR") -> Programme:
    """Return a programme short enough for a test."""
    sweep = Sweep(start_hz=30, stop_hz=20_000, duration_s=0.5, level_dbfs=-20)
    return Programme(sweep=sweep, order=order, sample_rate_hz=RATE_HZ, lead_in_s=0.2, tail_s=0.3)


def two_responses() -> np.ndarray:
    """Return a spike at 10 ms on the left, and a weaker one with a tail on the right."""
    rng = np.random.default_rng(1)
    responses = np.zeros((2, 2400))
    responses[0, 480] = 1
    responses[1, 520] = -0.8
    responses[1, 600:] = 0.02 * rng.standard_normal(1800)
    return responses


@pytest.mark.parametrize("clock_ppm", [0.0, 80.0, -200.0])
def test_closed_form_and_interpolated_paths_agree(clock_ppm: float) -> None:
    """Second method: windowed-sinc interpolation of the file a player plays."""
    programme = short_programme()
    wanted = {"clock_ppm": clock_ppm, "start_s": 0.4000123, "latency_s": 0.01234}
    exact = record(programme, two_responses(), **wanted)
    played = record_played(
        programme_samples(programme), two_responses(), sample_rate_hz=RATE_HZ, **wanted
    )
    n_samples = min(exact.size, played.size)
    difference = exact[:n_samples] - played[:n_samples]
    assert np.std(difference) < 1e-5 * np.std(exact)


def test_fast_recorder_counts_more_samples_between_passes() -> None:
    """Closed form: 1000 ppm over 1 s of the player is 1 ms of the recorder."""
    programme = short_programme(order="LL")
    samples = record(programme, two_responses(), clock_ppm=1000.0, start_s=0.3)
    apart_s = programme.starts_s[1] - programme.starts_s[0]
    first = round((0.3 + programme.starts_s[0] * 1.001) * RATE_HZ)
    length = round(0.9 * programme.sweep.duration_s * RATE_HZ)
    moved = round(apart_s * 1.001 * RATE_HZ)
    one = samples[first : first + length]
    two = samples[first + moved : first + moved + length]
    correlation = fft.irfft(
        np.conj(fft.rfft(one, 4 * length)) * fft.rfft(two, 4 * length), 4 * length
    )
    peak = int(np.argmax(np.roll(correlation, 50)[:100])) - 50
    assert abs(peak) <= 1


def test_response_is_convolved_with_the_sweep() -> None:
    """Closed form: a unit spike at sample 480 only delays the sweep by 10 ms."""
    programme = short_programme()
    responses = np.zeros((2, 500))
    responses[0, 480] = 1
    samples = record(programme, responses, start_s=0.5, gain=2.0)
    sweep = programme_samples(programme)[0]
    expected = np.zeros(samples.size)
    expected[24_000 + 480 : 24_000 + 480 + sweep.size] = 2 * sweep
    np.testing.assert_allclose(samples, expected, atol=1e-12)


@pytest.mark.parametrize("snr_db", [5.0, 40.0])
def test_noise_has_the_ratio_asked_for(snr_db: float) -> None:
    """Known input: RMS of the sweeps over RMS of what noise adds."""
    programme = short_programme(order="LRRL")
    clean = record(programme, two_responses())
    noisy = record(programme, two_responses(), snr_db=snr_db, rng=np.random.default_rng(2))
    playing = np.abs(record(programme, np.eye(2, 1) + np.eye(2, 1, -1))) > 0
    ratio = np.sqrt(np.mean(clean[playing] ** 2)) / np.std(noisy - clean)
    assert 20 * math.log10(ratio) == pytest.approx(snr_db, abs=0.3)


def test_pink_noise_loses_three_db_an_octave() -> None:
    """Closed form: equal power in every octave."""
    noise = noise_samples(2**19, sample_rate_hz=RATE_HZ, rng=np.random.default_rng(3))
    power = np.abs(fft.rfft(noise)) ** 2
    frequency_hz = fft.rfftfreq(noise.size, 1 / RATE_HZ)
    octaves = [
        np.sum(power[(frequency_hz >= low) & (frequency_hz < 2 * low)])
        for low in (100, 400, 1600, 6400)
    ]
    np.testing.assert_allclose(10 * np.log10(octaves / np.mean(octaves)), 0, atol=0.4)


def test_polynomial_loudspeaker_gives_the_closed_form_harmonics() -> None:
    """Closed form: cos a cubed is (3 cos a + cos 3a) / 4, cos a squared (1 + cos 2a) / 2."""
    angle = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    played = polynomial(1.0, 0.1, 0.04)(np.cos(angle))
    harmonics = fft.rfft(played).real[:4] / 32
    np.testing.assert_allclose(harmonics, [0.1, 1.03, 0.05, 0.01], atol=1e-12)


def test_distortion_that_does_nothing_changes_nothing() -> None:
    """Invariant: the oversampled path with y = x is the plain path."""
    programme = short_programme()
    plain = record(programme, two_responses())
    through = record(programme, two_responses(), distortion=polynomial(1.0))
    assert np.max(np.abs(plain - through)) < 1e-4 * np.max(np.abs(plain))


def test_interpolation_of_a_tone_is_exact() -> None:
    """Closed form: a sine between its samples."""
    index = np.arange(2000)
    at = np.linspace(200, 1800, 777)
    for cycles_a_sample in (0.01, 0.2, 0.45):
        tone = np.sin(2 * np.pi * cycles_a_sample * index)
        np.testing.assert_allclose(
            interpolated(tone, at), np.sin(2 * np.pi * cycles_a_sample * at), atol=1e-5
        )


def test_clock_wander_moves_by_the_integral_of_its_rate() -> None:
    """Closed form: a rate of p sin(2 pi t / T) has moved by p T / pi at half a period."""
    index = np.arange(4 * RATE_HZ)
    tone = np.sin(2 * np.pi * 1000 * index / RATE_HZ)
    moved = faults.clock_wander(tone, sample_rate_hz=RATE_HZ, peak_ppm=50.0, period_s=4.0)
    stretch = slice(2 * RATE_HZ - 480, 2 * RATE_HZ + 480)
    phase = np.exp(-2j * np.pi * 1000 * index[stretch] / RATE_HZ)
    late = np.angle(np.sum(tone[stretch] * phase) / np.sum(moved[stretch] * phase))
    assert late / (2 * np.pi * 1000) == pytest.approx(50e-6 * 4 / math.pi, rel=1e-3)


def test_faults_on_time_change_the_length_as_named() -> None:
    """Known input: a block lost, played twice, zeroed or replaced."""
    samples = np.arange(1, 1001, dtype=float)
    where = {"sample_rate_hz": 1000, "at_s": 0.3, "length_s": 0.1}
    dropped = faults.dropped(samples, **where)
    assert dropped.size == 900
    assert dropped[300] == samples[400]
    repeated = faults.repeated(samples, **where)
    assert repeated.size == 1100
    np.testing.assert_array_equal(repeated[400:500], samples[300:400])
    assert repeated[500] == samples[400]
    zeroed = faults.zeroed(samples, **where)
    assert np.flatnonzero(zeroed == 0).tolist() == list(range(300, 400))
    replaced = faults.replaced(samples, **where)
    np.testing.assert_array_equal(replaced[300:400], samples[200:300])
    assert faults.cut(samples, sample_rate_hz=1000, start_s=0.1, end_s=0.2).size == 700


def test_added_sounds_stay_where_they_are_put() -> None:
    """Known input: silence before and after, and the peak level asked for."""
    silence = np.zeros(2 * RATE_HZ)
    where = {"sample_rate_hz": RATE_HZ, "at_s": 0.5, "level_dbfs": -20.0}
    rng = np.random.default_rng(4)
    for noise in (
        faults.slam(silence, **where, rng=rng),
        faults.click(silence, **where),
        faults.cough(silence, **where, rng=rng),
        faults.babble(silence, **where, length_s=1.0, rng=rng),
        faults.tone(silence, **where, length_s=1.0),
    ):
        assert np.max(np.abs(noise)) == pytest.approx(0.1)
        assert not np.any(noise[: RATE_HZ // 2])
        assert not np.any(noise[round(1.51 * RATE_HZ) :])


def test_slam_is_mostly_low() -> None:
    """Known input: more than half the energy below 300 Hz."""
    slam = faults.slam(
        np.zeros(2 * RATE_HZ),
        sample_rate_hz=RATE_HZ,
        at_s=0.2,
        level_dbfs=0,
        rng=np.random.default_rng(5),
    )
    power = np.abs(fft.rfft(slam)) ** 2
    low = fft.rfftfreq(slam.size, 1 / RATE_HZ) < 300
    assert np.sum(power[low]) > 0.5 * np.sum(power)


def test_automatic_gain_brings_two_levels_together() -> None:
    """Known input: tones 20 dB apart end within 2 dB of each other."""
    time_s = np.arange(10 * RATE_HZ) / RATE_HZ
    tone = np.sin(2 * np.pi * 500 * time_s) * np.where(time_s < 5, 0.3, 0.03)
    out = faults.automatic_gain(tone, sample_rate_hz=RATE_HZ)
    loud = np.std(out[4 * RATE_HZ : 5 * RATE_HZ])
    soft = np.std(out[9 * RATE_HZ :])
    assert abs(20 * math.log10(loud / soft)) < 2


def test_noise_gate_silences_the_pause_only() -> None:
    """Known input: a tone passes, noise below the threshold is 40 dB down."""
    samples = np.full(RATE_HZ, 1e-3)
    samples[: RATE_HZ // 4] = 0.1
    out = faults.noise_gate(samples, sample_rate_hz=RATE_HZ, threshold_dbfs=-40, release_s=0.02)
    assert out[RATE_HZ // 8] == pytest.approx(0.1, rel=0.01)
    assert out[-1] == pytest.approx(1e-5, rel=0.01)


def test_hum_quantising_clipping_and_channels() -> None:
    """Closed form: line spectrum, rounding of at most half a step, limits, one channel."""
    hum = faults.hum(
        np.zeros(RATE_HZ), sample_rate_hz=RATE_HZ, level_dbfs=-40, harmonics_db=(0.0, -6.0)
    )
    lines = np.abs(fft.rfft(hum)) / (RATE_HZ / 2)
    np.testing.assert_allclose(lines[[50, 100]], [10 ** (-40 / 20), 10 ** (-46 / 20)])
    ramp = np.linspace(-0.9, 0.9, 1001)
    assert np.max(np.abs(faults.quantised(ramp, bits=8) - ramp)) <= 0.5 / 128
    assert np.max(np.abs(faults.clipped(ramp, limit=0.5))) == 0.5
    frames = faults.among_channels(
        ramp, n_channels=4, microphone=2, sample_rate_hz=RATE_HZ, rng=np.random.default_rng(6)
    )
    assert frames.shape == (1001, 4)
    np.testing.assert_array_equal(frames[:, 2], ramp)
