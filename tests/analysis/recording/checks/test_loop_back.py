"""A loop-back is told from a room. Truth: recordings with and without a room in between."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from analysis.basics.air import air_at
from analysis.reading import Reading, read_recording
from analysis.report.reading.verdict import verdict
from benchmarks.planted import Planted, planted, short_programme
from benchmarks.recorder import record

Float = NDArray[np.float64]


def converter(rate_hz: int) -> Float:
    """Return a converter's response on both channels: a high-pass at 4 Hz, a roll-off at 20 kHz."""
    impulse = np.zeros(4096)
    impulse[40] = 0.5
    for kind, corner_hz in (("highpass", 4.0), ("lowpass", 20_000.0)):
        impulse = sosfilt(butter(2, corner_hz, kind, fs=rate_hz, output="sos"), impulse)
    return np.stack((impulse, 0.97 * impulse))


def read(samples: Float, rate_hz: int) -> Reading:
    """Read a recording of passes of 2 s."""
    return read_recording(
        samples,
        recorded_hz=rate_hz,
        programme=short_programme(sample_rate_hz=rate_hz),
        air=air_at(20.0),
    )


def state(reading: Reading) -> str:
    """Return the check's verdict."""
    return next(check.verdict for check in reading.checks if check.name == "loop_back")


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("snr_db", [None, 90.0, 60.0])
def test_a_loop_back_is_found(rate_hz: int, snr_db: float | None) -> None:
    """Known input: the output's own samples, or a converter with its noise."""
    digital = np.zeros((2, 64))
    digital[:, 0] = 1.0
    samples = record(
        short_programme(sample_rate_hz=rate_hz),
        digital if snr_db is None else converter(rate_hz),
        snr_db=snr_db,
        noise="white",
        rng=np.random.default_rng(5),
    )
    reading = read(samples, rate_hz)
    assert state(reading) == "fail"
    assert not reading.usable
    assert reading.arrival is None
    said = verdict(reading)
    assert "loop back" in said.actions[0]
    assert not any("Move" in text or "Nothing to do" in text for text in said.actions)
    # One cause, one sentence: the question of the two places isn't asked as well.
    assert not any("two places" in text for text in said.actions)


@pytest.mark.parametrize("absorption", [0.3, 0.8, 0.95])
def test_a_room_is_no_loop_back(absorption: float) -> None:
    """Known input: rooms down to one whose walls swallow 13 dB at each reflection."""
    one: Planted = planted(short_programme(), seed=7601, absorption=absorption)
    assert state(read(one.samples, one.sample_rate_hz)) == "pass"


def test_a_room_under_noise_is_no_loop_back() -> None:
    """Known input: noise that hides the decay leaves it open."""
    one = planted(short_programme(), seed=7602, snr_db=0.0)
    assert state(read(one.samples, one.sample_rate_hz)) == "pass"
