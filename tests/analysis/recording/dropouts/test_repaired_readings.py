"""What a mended block and exchanged places leave of a reading."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.reading import Reading, read_recording
from analysis.room.room import Loudspeaker, Point, Positions, rectangular_room
from analysis.signals.programme import Programme
from benchmarks import faults
from benchmarks.loudspeakers import random_pair
from benchmarks.planted import default_programme
from benchmarks.recorder import record
from benchmarks.rooms import path_difference_m, random_layout
from benchmarks.rooms import responses as room_responses

RATE_HZ = 44_100
FLIGHT = (400, 406)
Float = NDArray[np.float64]


def responses() -> Float:
    """Return spikes 400 and 406 samples after emission, at the recorder's rate, and one wall each.

    A wall, because a recording in which no room is heard is taken for a loop-back.
    """
    result = np.zeros((2, 4000))
    result[0, FLIGHT[0]], result[1, FLIGHT[1]] = 0.4, 0.4
    result[0, FLIGHT[0] + 500], result[1, FLIGHT[1] + 540] = 0.04, 0.04
    return result


def read(programme: Programme, samples: Float, positions: Positions | None = None) -> Reading:
    """Read a recording at 44.1 kHz of the programme at 48 kHz."""
    room = None
    if positions is not None:
        room = (rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5), positions)
    return read_recording(
        samples, recorded_hz=RATE_HZ, programme=programme, air=air_at(), room=room
    )


def recorded(programme: Programme) -> Float:
    """Return a recording at 44.1 kHz."""
    return record(
        programme,
        responses(),
        sample_rate_hz=RATE_HZ,
        snr_db=45,
        rng=np.random.default_rng(4),
        start_s=0.6,
    )


@pytest.mark.parametrize("at_s", [4.6, 4.61, 4.62])
def test_block_mended_at_another_rate_shows_in_the_uncertainty(
    programme: Programme, at_s: float
) -> None:
    """Known input: a block of 4410 samples is no whole number at 48 kHz for every cut."""
    lossy = faults.dropped(recorded(programme), sample_rate_hz=RATE_HZ, at_s=at_s, length_s=0.1)
    reading = read(programme, lossy)
    assert any(block.kind == "missing" for block in reading.aligned.blocks)
    assert reading.arrival is not None
    assert reading.arrival.difference_m is not None
    assert reading.arrival.std_m is not None
    truth_m = (FLIGHT[0] - FLIGHT[1]) / RATE_HZ * reading.air.speed_of_sound_m_s
    assert reading.arrival.std_m > 0.4 / 48_000 * reading.air.speed_of_sound_m_s
    assert abs(reading.arrival.difference_m - truth_m) < 2.5 * reading.arrival.std_m


def test_block_low_in_the_sweep_is_not_counted_wrong() -> None:
    """Known input: geometry; in this room the part before the block tells no whole count."""
    rng = np.random.default_rng((8101, 53))
    layout = random_layout(rng)
    impulses = room_responses(
        layout,
        random_pair(rng, "typical"),
        sample_rate_hz=48_000,
        duration_s=0.4,
        max_order=8,
        simulator="rir_generator",
    )
    samples = record(default_programme(), impulses, clock_ppm=90, snr_db=35, rng=rng, start_s=1.0)
    lossy = faults.dropped(samples, sample_rate_hz=48_000, at_s=26.241, length_s=4033 / 48_000)
    reading = read_recording(lossy, recorded_hz=48_000, programme=default_programme(), air=air_at())
    assert reading.arrival is not None
    assert reading.arrival.difference_s is not None
    truth_s = path_difference_m(layout) / layout.speed_of_sound_m_s
    assert abs(reading.arrival.difference_s - truth_s) * 343e3 < 0.4


def test_exchanged_loudspeakers_are_told(programme: Programme) -> None:
    """Known input: the left loudspeaker's x is the larger in the room file."""
    sides = [Loudspeaker(tweeter=Point(x_m=x_m, y_m=0.8, z_m=1.0)) for x_m in (1.0, 3.0)]
    seat = Point(x_m=2.0, y_m=3.0, z_m=1.1)
    for left, right, verdict in ((*sides, "pass"), (*sides[::-1], "warn")):
        positions = Positions(left=left, right=right, seat=seat)
        reading = read(programme, recorded(programme), positions)
        geometry = next(check for check in reading.checks if check.name == "geometry")
        assert geometry.verdict == verdict
        assert ("exchanged" in geometry.detail) == (verdict == "warn")


def test_two_losses_in_pauses_are_not_taken_for_one(programme: Programme) -> None:
    """Known input: 2 and 30 ms lost in the first and last pause; one loss and half a metre fit."""
    samples = recorded(programme)
    pauses_s = [0.6 + programme.starts_s[number] - 0.7 for number in (3, 1)]
    for at_s, length_s in zip(pauses_s, (0.0308, 0.00154), strict=True):
        samples = faults.dropped(samples, sample_rate_hz=RATE_HZ, at_s=at_s, length_s=length_s)
    reading = read(programme, samples)
    truth_m = (FLIGHT[0] - FLIGHT[1]) / RATE_HZ * air_at().speed_of_sound_m_s
    arrival = reading.arrival
    told = arrival is not None and arrival.difference_m is not None
    assert not told or abs(arrival.difference_m - truth_m) < 5 * arrival.std_m
    assert not reading.usable
    dropout = next(check for check in reading.checks if check.name == "dropout")
    assert dropout.verdict == "fail"
    assert dropout.detail
