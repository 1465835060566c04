"""Two channels that hear the sweep: taken with a word, or asked.

Truth: the channels are recordings of one simulated programme, made here: copies, crosstalk, and
microphones at places whose paths differ by known geometry.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.reading import Reading, compare_channels, read_recording
from analysis.recording.checks.channels import choose_channel
from analysis.report.reading.verdict import verdict
from benchmarks import faults
from benchmarks.planted import RATE_HZ, short_programme
from benchmarks.recorder import record
from benchmarks.rooms import Layout, path_difference_m, random_layout, random_pair, responses

Float = NDArray[np.float64]

PROGRAMME = short_programme()
SEED = 7701


def layout_at(right_m: float) -> Layout:
    """Return a room with its microphone so far to the right of the seat."""
    layout = random_layout(np.random.default_rng(SEED))
    x_m, *rest = layout.seat_m
    return replace(layout, seat_m=(x_m + right_m, rest[0], rest[1]))


def recorded(layout: Layout, *, noise_seed: int) -> Float:
    """Return what a microphone of its own noise records there."""
    pair = random_pair(np.random.default_rng(SEED + 1), "typical")
    heard = responses(
        layout, pair, sample_rate_hz=RATE_HZ, duration_s=0.4, max_order=6, simulator="rir_generator"
    )
    return record(
        PROGRAMME, heard, clock_ppm=20.0, snr_db=35.0, rng=np.random.default_rng(noise_seed)
    )


def read(samples: Float) -> Reading:
    """Read one channel."""
    return read_recording(samples, recorded_hz=RATE_HZ, programme=PROGRAMME, air=air_at(20.0))


def check_of(reading: Reading) -> tuple[str, str]:
    """Return the channel check's verdict and sentence."""
    return next(
        (check.verdict, check.detail) for check in reading.checks if check.name == "channel"
    )


@pytest.fixture(scope="module")
def at_the_seat() -> Float:
    """Return the recording of the microphone at the seat."""
    return recorded(layout_at(0.0), noise_seed=1)


def test_copies_and_crosstalk_are_no_rivals(at_the_seat: Float) -> None:
    """Known input: the same sound at half the gain in 16 bits, 50 dB below, and noise alone."""
    noise = 1e-4 * np.random.default_rng(2).standard_normal(at_the_seat.size)
    copy = faults.quantised(0.5 * at_the_seat / np.abs(at_the_seat).max(), bits=16)
    others = (copy, 10 ** (-50 / 20) * at_the_seat + 1e-2 * noise, noise)
    for other in others:
        assert choose_channel([at_the_seat, other], PROGRAMME).rivals == ()
        assert choose_channel([other, at_the_seat], PROGRAMME).rivals == ()


def test_a_second_microphone_elsewhere_is_asked_about(at_the_seat: Float) -> None:
    """Geometry: 20 cm to the right the left loudspeaker is farther by more than 10 cm."""
    elsewhere = recorded(layout_at(0.2), noise_seed=3)
    assert path_difference_m(layout_at(0.2)) - path_difference_m(layout_at(0.0)) > 0.1
    choice = choose_channel([elsewhere, at_the_seat], PROGRAMME)
    assert {choice.index, *choice.rivals} == {0, 1}
    reading = compare_channels(read(elsewhere), 0, {1: read(at_the_seat)})
    outcome, text = check_of(reading)
    assert outcome == "fail"
    assert "channels 1 and 2 hear the sweep" in text
    assert reading.arrival is not None
    assert (reading.arrival.difference_m, reading.level, reading.polarity) == (None, None, None)
    assert not reading.usable
    said = verdict(reading)
    assert len(said.actions) == 1
    assert "--channel" in said.actions[0]


def test_a_second_microphone_that_agrees_is_named(at_the_seat: Float) -> None:
    """Known input: two microphones at one place, each with its noise: read, and said."""
    beside = 0.4 * recorded(layout_at(0.0), noise_seed=4)
    choice = choose_channel([at_the_seat, beside], PROGRAMME)
    assert {choice.index, *choice.rivals} == {0, 1}
    alone = read(at_the_seat)
    reading = compare_channels(alone, 0, {1: read(beside)})
    outcome, text = check_of(reading)
    assert outcome == "warn"
    assert "channel 1 was taken" in text
    assert reading.usable
    assert reading.arrival is alone.arrival
