"""The noise of the simulated room."""

from __future__ import annotations

import numpy as np
import pytest

from measure.sound.simulation.noise import SimulatedNoise

RATE_HZ = 48_000


def noise(*, noise_dbfs: float = -60.0, hum_dbfs: float = -np.inf, seed: int = 1) -> SimulatedNoise:
    return SimulatedNoise(
        RATE_HZ,
        noise_dbfs=noise_dbfs,
        hum_dbfs=hum_dbfs,
        mains_hz=50.0,
        rng=np.random.default_rng(seed),
    )


def test_it_has_the_level_asked_for_at_all_times() -> None:
    # Known input. Pink noise of 20 s wanders by some tenths of a decibel.
    samples = noise().take(20 * RATE_HZ)
    assert 20 * np.log10(np.sqrt(np.mean(samples**2))) == pytest.approx(-60, abs=0.5)
    # In the treble, where a second is long, every second is alike, also across the fades.
    treble = np.diff(samples, prepend=0).reshape(80, -1)
    power_db = 10 * np.log10(np.mean(treble**2, axis=1))
    assert np.ptp(power_db) < 1.0


def test_it_is_pink() -> None:
    # Closed form: the same power in every octave.
    power = np.abs(np.fft.rfft(noise().take(30 * RATE_HZ))) ** 2
    frequency_hz = np.fft.rfftfreq(30 * RATE_HZ, 1 / RATE_HZ)
    octaves_db = [
        10 * np.log10(power[(frequency_hz >= low_hz) & (frequency_hz < 2 * low_hz)].sum())
        for low_hz in 40 * 2.0 ** np.arange(9)
    ]
    assert np.ptp(octaves_db) < 1.5


def test_it_never_repeats() -> None:
    samples = noise().take(10 * RATE_HZ)
    spectrum = np.abs(np.fft.rfft(samples, 2 * samples.size)) ** 2
    correlation = np.fft.irfft(spectrum)[: samples.size]
    assert np.abs(correlation[RATE_HZ // 2 :]).max() < 0.2 * correlation[0]


def test_it_does_not_depend_on_how_it_is_taken() -> None:
    # Invariant.
    one, other = noise(hum_dbfs=-70.0), noise(hum_dbfs=-70.0)
    pieces = [one.take(n) for n in (1, 511, 40_000, 0, 9488)]
    assert np.array_equal(np.concatenate(pieces), other.take(50_000))


def test_the_hum_has_its_level_and_lines() -> None:
    # Closed form: over whole periods the lines stand alone in the spectrum.
    samples = noise(noise_dbfs=-np.inf, hum_dbfs=-40.0).take(RATE_HZ)
    assert 20 * np.log10(np.sqrt(np.mean(samples**2))) == pytest.approx(-40, abs=1e-6)
    spectrum = np.abs(np.fft.rfft(samples))
    assert set(np.flatnonzero(spectrum > 1e-9 * spectrum.max())) == {50, 100, 150}
