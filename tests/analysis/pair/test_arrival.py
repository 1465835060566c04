"""The arrival match against planted delays, image-source rooms and its own invariances."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.pair.arrival import IN_ROOM_STD_M, ArrivalMatch, match_arrivals
from analysis.pair.gated_pair import minimum_phase
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import first_arrival_s, gate_weight
from benchmarks.accuracy import impulse_trials, recording_trials

RATE_HZ = 48_000
SPEED_M_S = 343.2
Float = NDArray[np.float64]


def loudspeaker(frequency_hz: Float) -> NDArray[np.complex128]:
    """Return an invented two-way box: 60 Hz to 20 kHz, second order at both ends."""
    low, top = 1j * frequency_hz / 60, 1j * frequency_hz / 20_000
    root2 = np.sqrt(2)
    return np.asarray(low**2 / (low**2 + root2 * low + 1) / (top**2 + root2 * top + 1))


def response(
    arrival_s: float,
    *,
    rate_hz: int = RATE_HZ,
    gain: float = 1.0,
    noise: float = 1e-6,
    seed: int = 0,
    band_hz: tuple[float, float] = (15.0, 22_000.0),
    echo: tuple[float, float] | None = None,
) -> ImpulseResponse:
    """Return a loudspeaker that arrives at a time, by a phase ramp; noise and an echo if asked."""
    rng = np.random.default_rng(seed)
    n_samples = round(0.05 * rate_hz)
    frequency_hz = np.fft.rfftfreq(2 * n_samples, 1 / rate_hz)
    spectrum = loudspeaker(frequency_hz) * np.exp(-2j * np.pi * frequency_hz * arrival_s)
    if echo is not None:
        spectrum = spectrum * (1 + echo[1] * np.exp(-2j * np.pi * frequency_hz * echo[0]))
    # A steep end well below half the sampling frequency, as a sweep has.
    spectrum *= 1 / (1 + (frequency_hz / (0.45 * rate_hz)) ** 40)
    samples = gain * np.fft.irfft(spectrum)[:n_samples]
    return ImpulseResponse(
        samples=samples + noise * rng.standard_normal(n_samples),
        sample_rate_hz=rate_hz,
        start_s=0.0,
        noise=noise * rng.standard_normal(rate_hz),
        band_hz=band_hz,
        n_repeats=2,
    )


def match(left: ImpulseResponse, right: ImpulseResponse) -> ArrivalMatch:
    """Return the match at the usual speed of sound."""
    return match_arrivals(left, right, speed_of_sound_m_s=SPEED_M_S)


@settings(max_examples=25, deadline=None)
@given(delay_us=st.floats(-170, 170), gain=st.floats(0.3, 3))
def test_planted_delay_is_found(delay_us: float, gain: float) -> None:
    """Known input: a phase ramp of any fraction of a sample, to 2 micrometres."""
    found = match(response(10e-3 + delay_us * 1e-6, gain=gain), response(10e-3, seed=1))
    assert found.difference_s is not None
    assert found.difference_s * 1e6 == pytest.approx(delay_us, abs=6e-3)
    assert found.agree


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_any_sampling_frequency(rate_hz: int) -> None:
    """Known input: 20 micrometres at every rate."""
    left = response(10.031e-3, rate_hz=rate_hz, band_hz=(15.0, 20_000.0))
    right = response(10e-3, rate_hz=rate_hz, seed=1, band_hz=(15.0, 20_000.0))
    found = match(left, right)
    assert found.difference_m == pytest.approx(0.031e-3 * SPEED_M_S, abs=2e-5)


@pytest.mark.parametrize("stop_hz", [10_000.0, 5_000.0])
def test_sweep_that_ends_early_is_matched_in_its_own_band(stop_hz: float) -> None:
    """Known input: a sweep for fragile tweeters still tells a tenth of a millimetre."""
    left = response(10.05e-3, band_hz=(15.0, stop_hz))
    right = response(10e-3, seed=1, band_hz=(15.0, stop_hz))
    found = match(left, right)
    assert found.band_hz[1] < stop_hz
    assert found.difference_m == pytest.approx(0.05e-3 * SPEED_M_S, abs=1e-4)


def test_swapping_the_sides_changes_the_sign() -> None:
    """Invariant."""
    left, right = response(10.04e-3, noise=1e-3), response(10e-3, noise=1e-3, seed=1)
    there, back = match(left, right), match(right, left)
    assert there.difference_m is not None
    assert back.difference_m == pytest.approx(-there.difference_m, abs=1e-7)
    assert back.std_m == pytest.approx(there.std_m, rel=0.05)


def test_polarity_and_level_do_not_matter() -> None:
    """Invariant: one side inverted and 6 dB down arrives when it did."""
    left, right = response(10.04e-3), response(10e-3, seed=1)
    turned = replace(right, samples=-0.5 * right.samples, noise=0.5 * right.noise)
    straight, inverted = match(left, right), match(left, turned)
    assert straight.difference_m is not None
    assert inverted.difference_m == pytest.approx(straight.difference_m, abs=1e-6)


@pytest.mark.parametrize(("delay_s", "gain"), [(1.5e-3, 0.8), (2.4e-3, -0.9), (3.0e-3, 1.3)])
def test_floor_reflection_does_not_pull(delay_s: float, gain: float) -> None:
    """Known input: an echo, even the stronger, 1.5 to 3 ms after one side's arrival."""
    left = response(10.02e-3, echo=(delay_s, gain))
    found = match(left, response(10e-3, seed=1))
    assert found.difference_m == pytest.approx(0.02e-3 * SPEED_M_S, abs=1e-5)


def test_first_arrival_is_not_the_strongest() -> None:
    """Known input: a reflection 4 dB above the direct sound, 2 ms later."""
    found_s = first_arrival_s(response(10e-3, echo=(2e-3, 1.6)))
    assert found_s == pytest.approx(10e-3, abs=5e-5)


def test_echo_inside_the_gate_widens_the_uncertainty() -> None:
    """Known input: an echo at 0.45 ms on one side can't be gated off, so it must show."""
    clean = match(response(10e-3), response(10e-3, seed=1))
    dirty = match(response(10e-3, echo=(0.45e-3, 0.4)), response(10e-3, seed=1))
    assert clean.std_m is not None
    assert dirty.std_m is not None
    assert dirty.difference_m is not None
    assert dirty.std_m > 20 * clean.std_m
    assert abs(dirty.difference_m) < 3 * dirty.std_m


def test_gap_is_left_out_and_a_wide_one_withholds() -> None:
    """Known input: an octave without data on one side widens the uncertainty, no more."""
    left, right = response(10.03e-3), response(10e-3, seed=1)
    frequency_hz = np.fft.rfftfreq(left.samples.size, 1 / RATE_HZ)
    spectrum = np.fft.rfft(left.samples)
    spectrum[(frequency_hz > 8000) & (frequency_hz < 14_000)] = 0
    holed = np.fft.irfft(spectrum, left.samples.size)
    named = match(replace(left, samples=holed, gaps_hz=((8000.0, 14_000.0),)), right)
    assert named.difference_m is not None
    assert named.std_m is not None
    assert abs(named.difference_m - 0.03e-3 * SPEED_M_S) < 3 * named.std_m
    assert named.std_m < 3e-3
    wide = match(replace(left, gaps_hz=((3500.0, 11_000.0),)), right)
    assert wide.difference_m is None
    assert wide.std_m is None
    assert wide.withheld is not None
    assert "clean on both sides" in wide.withheld


def test_noise_alone_is_withheld() -> None:
    """Known input: with noise above the direct sound there is no answer, and a reason."""
    found = match(response(10e-3, noise=0.3), response(10e-3, noise=0.3, seed=1))
    assert found.difference_m is None or found.std_m > 2e-4  # type: ignore[operator]
    louder = match(response(10e-3, noise=30.0), response(10e-3, noise=30.0, seed=1))
    assert louder.withheld is not None
    assert "noise" in louder.withheld


def test_clock_and_room_add_in_quadrature() -> None:
    """Closed form."""
    left, right = response(10e-3), response(10e-3, seed=1)
    without = match(left, right)
    found = match_arrivals(left, right, speed_of_sound_m_s=SPEED_M_S, clock_std_s=1e-5)
    assert without.std_m is not None
    assert found.std_m is not None
    assert found.std_m == pytest.approx(np.hypot(without.std_m, 1e-5 * SPEED_M_S), rel=1e-6)
    assert found.in_room_std_m == pytest.approx(np.hypot(found.std_m, IN_ROOM_STD_M))


def test_minimum_phase_is_that_of_a_known_system() -> None:
    """Closed form: a one-zero filter 1 + 0.5 z^-1 is minimum-phase."""
    n_fft = 1024
    spectrum = np.fft.rfft([1.0, 0.5], n_fft)
    phase = minimum_phase(np.log(np.abs(spectrum)), n_fft)
    assert phase == pytest.approx(np.angle(spectrum), abs=1e-9)


def test_gate_is_open_at_the_arrival_and_shut_outside() -> None:
    """Closed form of the gate."""
    weight = gate_weight(np.array([-0.6e-3, -0.2e-3, 0.0, 0.5e-3, 0.8e-3]), 0.8e-3)
    assert weight == pytest.approx([0, 1, 1, 1, 0])


def test_rates_must_be_one() -> None:
    """Known input."""
    with pytest.raises(ValueError, match="differ"):
        match(response(10e-3), response(10e-3, rate_hz=44_100))


@pytest.mark.parametrize(
    ("mismatch", "snr_db", "rms_mm"),
    [
        ("identical", 40.0, 0.01),
        ("typical", 40.0, 0.2),
        ("hard", 20.0, 0.25),
        ("typical", 5.0, 1.0),
    ],
)
def test_simulated_rooms(mismatch: str, snr_db: float, rms_mm: float) -> None:
    """Reference libraries: rooms of pyroomacoustics and rir-generator, truth the geometry.

    With 40 trials a true coverage of 95 % stays above 80 %; ``benchmarks/accuracy.py`` has
    the full table.
    """
    trials = list(impulse_trials(mismatch, snr_db, n_trials=40, seed=12))
    errors_m = np.array([found.difference_m - truth for truth, found in trials])  # type: ignore[operator]
    stds_m = np.array([found.std_m for _, found in trials], dtype=float)
    assert float(np.sqrt(np.mean(errors_m**2))) * 1e3 < rms_mm
    assert float(np.abs(errors_m).max()) < 1e-3
    assert float(np.mean(np.abs(errors_m) < 2 * stds_m)) > 0.8
    # And not honest by being vague.
    assert float(np.mean(stds_m)) < 3 * float(np.sqrt(np.mean(errors_m**2)))


def test_whole_recordings_with_clocks_apart() -> None:
    """Reference library rooms, clocks up to 200 ppm apart, everything from the samples."""
    for truth_m, found in recording_trials("typical", 40.0, n_trials=3, seed=5):
        assert found.difference_m == pytest.approx(truth_m, abs=5e-4)
