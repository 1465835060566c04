"""How strong a signal is over a moment, below 10 Hz and above 2 kHz."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from measure.safety.signal_power import (
    BLOCK_S,
    FRAME_S,
    highest_mean_square,
    infrasonic_mean_square,
    sliding_sums,
    treble_energy,
)


def sine(hz: float, *, seconds: float, rate_hz: int, level: float = 0.2) -> NDArray[np.float32]:
    """Return two channels: a sine, and silence."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return np.stack([level * np.sin(2 * np.pi * hz * time_s), 0 * time_s]).astype(np.float32)


def test_sums_of_every_window() -> None:
    # Closed form, windows beyond both ends included.
    assert sliding_sums(np.array([1.0, 2.0, 4.0]), 2).tolist() == [1, 3, 6, 4]


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_the_mean_square_of_a_moment_is_never_too_low(rate_hz: int) -> None:
    # Second method: every window of 0.1 s summed sample by sample.
    rng = np.random.default_rng(5)
    samples = rng.normal(scale=0.05, size=(2, 30_000)).astype(np.float32)
    samples[1, 11_111 : 11_111 + rate_hz // 10] *= 2
    n = round(0.1 * rate_hz)
    true = sliding_sums(samples.astype(float) ** 2, n).max() / n
    found = highest_mean_square(samples, sample_rate_hz=rate_hz, window_s=0.1)
    assert true <= found <= true * (1 + 2 * BLOCK_S / 0.1)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 192_000])
def test_what_lies_below_10_hz_is_told_from_what_lies_above(rate_hz: int) -> None:
    # Closed form: a tone's mean square is half its square; DC's is its square.
    options = {"seconds": 6.0, "rate_hz": rate_hz}
    below = infrasonic_mean_square(sine(5, **options), sample_rate_hz=rate_hz)
    assert below == pytest.approx(0.02, rel=0.05)
    dc = np.full((2, 3 * rate_hz), 0.1, dtype=np.float32)
    assert infrasonic_mean_square(dc, sample_rate_hz=rate_hz) == pytest.approx(0.01, rel=0.2)
    rate_of_means = rate_hz // (rate_hz // 4000)
    for hz in (100.0, 1000.0, rate_of_means - 9.0, 15_000.0):
        fade = np.minimum(np.arange(6 * rate_hz), np.arange(6 * rate_hz)[::-1]) / rate_hz
        loud = sine(hz, **options) * np.clip(fade, 0, 1).astype(np.float32)
        found = infrasonic_mean_square(loud, sample_rate_hz=rate_hz)
        assert found < 0.02 * 10**-5.0, hz


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 192_000])
@pytest.mark.parametrize(("hz", "share"), [(100, 0.0), (1800, 0.0), (2300, 1.0), (19_000, 1.0)])
def test_a_tone_counts_as_treble_above_2_khz(hz: float, share: float, rate_hz: int) -> None:
    # Closed form: the energy of a tone is half its square by its duration.
    energy = treble_energy(sine(hz, seconds=1.0, rate_hz=rate_hz), sample_rate_hz=rate_hz)
    assert energy[0].sum() == pytest.approx(share * 0.02, abs=0.02 * 0.02)
    assert not energy[1].any()


def test_treble_lands_in_its_frame_and_silence_is_none() -> None:
    # Known input: a burst within one frame of 25 ms.
    samples = np.zeros((2, 48_000), dtype=np.float32)
    samples[1, 12_010:12_900] = sine(8000, seconds=1.0, rate_hz=48_000)[0, :890]
    energy = treble_energy(samples, sample_rate_hz=48_000)
    assert energy.shape == (2, round(1 / FRAME_S))
    assert np.flatnonzero(energy[1]).tolist() == [10]
    assert energy[1, 10] == pytest.approx(0.02 * 890 / 48_000, rel=0.01)
