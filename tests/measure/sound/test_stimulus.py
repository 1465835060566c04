"""The sweep programme as samples, and what may be asked for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from analysis.signals.programme import MIDDLE_PAUSE_S, Programme
from analysis.signals.sweep import sweep_samples
from measure.errors import StimulusError
from measure.sound.stimulus import checksum, default_stop_hz, make_programme, programme_samples

ASKED: dict[str, Any] = {
    "start_hz": 15.0,
    "stop_hz": 22_000.0,
    "duration_s": 2.0,
    "level_dbfs": -20.0,
    "rate_hz": 48_000,
    "order": "LRRL",
    "tail_s": 1.0,
}


@pytest.fixture(scope="module")
def asked() -> Programme:
    return make_programme(**ASKED)


@pytest.fixture(scope="module")
def samples(asked: Programme) -> NDArray[np.float64]:
    return programme_samples(asked)


def test_each_pass_stands_in_its_channel_at_its_time(samples: NDArray[np.float64]) -> None:
    # Known input: lead-in 1 s, passes of 2 s, tails of 1 s, half a second more in the middle.
    starts_s = [1, 4, 7 + MIDDLE_PAUSE_S, 10 + MIDDLE_PAUSE_S]
    loud = np.abs(samples) > 0
    for side, start_s in zip("LRRL", starts_s, strict=True):
        own, other = ("LR".index(side), "RL".index(side))
        inside = slice(round(start_s * 48_000), round((start_s + 2) * 48_000))
        assert loud[own, inside].mean() > 0.99
        assert not loud[other, inside].any()
    assert loud.sum() <= 4 * 2 * 48_000
    assert samples.shape == (2, round((13 + MIDDLE_PAUSE_S) * 48_000))


def test_the_peak_is_the_level(samples: NDArray[np.float64]) -> None:
    # Closed form: -20 dBFS is a tenth; no sample lies above it.
    assert 0.0999 < np.abs(samples).max() <= 0.1 + 2**-23


def test_every_sample_is_a_24_bit_number(samples: NDArray[np.float64]) -> None:
    steps = samples * 2**23
    np.testing.assert_array_equal(steps, np.round(steps))


def test_full_scale_fits_24_bits() -> None:
    # Closed form: the largest of 24-bit numbers is 1 - 2**-23.
    loud = programme_samples(make_programme(**ASKED | {"level_dbfs": 0.0}))
    assert loud.max() <= 1 - 2**-23
    assert loud.min() >= -1


def test_rounding_without_dither_is_far_below_and_white(
    asked: Programme, samples: NDArray[np.float64]
) -> None:
    # Second method: the exact sweep. The error has the power of a uniform one (1/12 of a
    # squared step), and no line in its spectrum stands out of what white noise shows.
    exact = sweep_samples(asked.sweep, sample_rate_hz=48_000)
    error = samples[0, 48_000 : 48_000 + exact.size] - exact
    assert np.mean(error**2) * 2**46 == pytest.approx(1 / 12, rel=0.02)
    assert 10 * np.log10(np.mean(exact**2) / np.mean(error**2)) > 120
    _, power = signal.periodogram(error, 48_000, window="hann")
    _, white = signal.periodogram(
        np.random.default_rng(0).uniform(-0.5, 0.5, error.size) / 2**23, 48_000, window="hann"
    )
    assert power.max() < 2 * white.max()


def test_the_first_half_octave_starts_softly(samples: NDArray[np.float64]) -> None:
    # Closed form: half an octave of this sweep lasts 95 ms; a raised cosine has come to
    # 0.7 % of the peak after 5 ms.
    first = samples[0, 48_000 : 48_000 + 240]
    assert 0 < np.abs(first).max() < 0.007 * 0.1


def test_the_default_end_keeps_below_half_the_rate() -> None:
    # Closed form: 0.46 * 44.1 kHz = 20.286 kHz.
    assert default_stop_hz(44_100) == pytest.approx(20_286)
    assert default_stop_hz(48_000) == default_stop_hz(192_000) == 22_000


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 88_200, 96_000, 176_400, 192_000])
def test_every_usual_rate_is_made(rate_hz: int) -> None:
    # Invariant: the same programme lasts as long at any rate.
    asked = ASKED | {"rate_hz": rate_hz, "stop_hz": default_stop_hz(rate_hz), "duration_s": 0.5}
    made = programme_samples(make_programme(**asked))
    assert made.shape[1] / rate_hz == pytest.approx(1 + 4 * 1.5 + MIDDLE_PAUSE_S)


@pytest.mark.parametrize(
    ("option", "value", "message"),
    [
        ("start_hz", 22_000.0, r"--start 22000 Hz must lie above 0 and below --end"),
        ("start_hz", 0.0, r"--start 0 Hz must lie above 0"),
        ("start_hz", float("nan"), r"--start nan"),
        ("start_hz", 12_000.0, r"at least 2 octaves"),
        ("stop_hz", 24_000.0, r"--end 24000 Hz must lie below half the rate, 24000 Hz"),
        ("stop_hz", float("nan"), r"--end nan"),
        ("duration_s", 0.0, r"--seconds 0 must lie from 0\.1 to 60"),
        ("duration_s", float("inf"), r"--seconds inf"),
        ("level_dbfs", 0.1, r"--level 0\.1 must lie from -80 to 0 dBFS"),
        ("level_dbfs", float("nan"), r"--level nan"),
        ("rate_hz", 8_000, r"--rate 8000 must lie"),
        ("rate_hz", 384_000, r"--rate 384000 must lie"),
        ("order", "", r"--order ''"),
        ("order", "LXR", r"--order 'LXR'"),
        ("order", "LR" * 9, r"1 to 16 letters"),
        ("tail_s", -1.0, r"--tail -1"),
    ],
)
def test_nonsense_is_refused(option: str, value: object, message: str) -> None:
    with pytest.raises(StimulusError, match=message):
        make_programme(**ASKED | {option: value})


def test_the_checksum_tells_one_step(samples: NDArray[np.float64]) -> None:
    # Invariant: one sample moved by the smallest step is another file.
    changed = samples.copy()
    changed[1, 5 * 48_000] += 2**-23
    assert checksum(samples) == checksum(samples.copy())
    assert checksum(samples) != checksum(changed)
    assert checksum(samples) != checksum(samples[::-1])
