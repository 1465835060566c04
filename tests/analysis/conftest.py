"""An invented room before and after a move, measured once for the tests that show results."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from analysis.basics.air import air_at
from analysis.bass.bass import Bass, add_causes, read_bass
from analysis.comparison.compare import Comparison, Snapshot, compare
from analysis.pair.arrival import ArrivalMatch, match_arrivals
from analysis.pair.level import LevelMatch, match_levels
from analysis.pair.polarity import PolarityMatch, match_polarity
from analysis.room.prediction import Prediction, predict
from analysis.room.room import Loudspeaker, Point, Positions, rectangular_room
from analysis.signals.impulse_response import ImpulseResponse
from benchmarks.rooms import Layout, random_pair, responses

RATE_HZ = 48_000
LEAD_S = 0.05
NOISE = 2e-5

LAYOUT = Layout(
    size_m=(3.9, 5.4, 2.5),
    absorption=(0.15, 0.3, 0.15, 0.2, 0.3, 0.2),
    left_m=(0.95, 0.75, 0.95),
    right_m=(2.85, 0.8, 0.95),
    seat_m=(1.9, 2.6, 1.05),
)
"""Invented. The left path is 44.3 mm longer."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Measured:
    """What a reading has of one placement."""

    left: ImpulseResponse
    right: ImpulseResponse
    arrival: ArrivalMatch
    level: LevelMatch
    polarity: PolarityMatch
    bass: Bass
    prediction: Prediction

    @property
    def snapshot(self) -> Snapshot:
        """The same as two readings are compared by."""
        direct, seat = self.level.direct, self.level.seat
        return Snapshot(
            left=self.left,
            right=self.right,
            arrival_m=self.arrival.difference_m,
            arrival_std_m=self.arrival.std_m,
            arrival_in_room_std_m=self.arrival.in_room_std_m,
            direct_db=direct.left_minus_right_db,
            direct_std_db=direct.noise_std_db,
            seat_db=seat.left_minus_right_db,
            seat_std_db=seat.std_db,
            features={
                name: tuple(one.feature for one in side.features) for name, side in self.bass.sides
            },
        )


def measure(layout: Layout, *, gain: float = 1.0, seed: int = 0) -> Measured:
    """Simulate a placement and measure it."""
    rng = np.random.default_rng(seed)
    pair = random_pair(np.random.default_rng(1), "typical")
    rows = responses(layout, pair, sample_rate_hz=RATE_HZ, duration_s=0.5, max_order=25)
    lead, tail = (np.zeros(math.ceil(length_s * RATE_HZ)) for length_s in (LEAD_S, 0.6))
    sides = []
    for row in rows:
        fade = np.minimum(1, np.arange(row.size)[::-1] / (0.2 * RATE_HZ))
        clean = np.concatenate((lead, row * fade, tail))
        sides.append(
            ImpulseResponse(
                samples=gain * (clean + NOISE * rng.standard_normal(clean.size)),
                sample_rate_hz=RATE_HZ,
                start_s=-LEAD_S,
                noise=gain * NOISE * rng.standard_normal(72_000),
                band_hz=(15.0, 22_000.0),
            )
        )
    left, right = sides
    air = air_at(20.0)
    arrival = match_arrivals(left, right, speed_of_sound_m_s=air.speed_of_sound_m_s)
    at = {"left_s": arrival.left_s, "right_s": arrival.right_s}
    width_m, length_m, height_m = layout.size_m
    places = (Point(x_m=p[0], y_m=p[1], z_m=p[2]) for p in (layout.left_m, layout.right_m))
    left_at, right_at = (Loudspeaker(tweeter=place) for place in places)
    seat = Point(x_m=layout.seat_m[0], y_m=layout.seat_m[1], z_m=layout.seat_m[2])
    prediction = predict(
        rectangular_room(length_m=length_m, width_m=width_m, height_m=height_m),
        Positions(left=left_at, right=right_at, seat=seat),
        air,
    )
    return Measured(
        left=left,
        right=right,
        arrival=arrival,
        level=match_levels(left, right, gate_s=arrival.gate_s[1], **at),
        polarity=match_polarity(left, right, **at),
        bass=add_causes(read_bass(left, right), prediction),
        prediction=prediction,
    )


def moved_right(distance_m: float) -> Layout:
    """Return the layout with the right loudspeaker farther along its line to the seat."""
    away = np.array(LAYOUT.right_m) - np.array(LAYOUT.seat_m)
    x, y, z = np.array(LAYOUT.right_m) + distance_m * away / np.linalg.norm(away)
    return replace(LAYOUT, right_m=(float(x), float(y), float(z)))


@pytest.fixture(scope="session")
def before() -> Measured:
    """Return the pair before the move."""
    return measure(LAYOUT)


@pytest.fixture(scope="session")
def after() -> Measured:
    """Return it with the right loudspeaker 12 mm farther and a knob 3 dB up."""
    return measure(moved_right(0.012), gain=10 ** (3 / 20), seed=1)


@pytest.fixture(scope="session")
def far_after() -> Measured:
    """Return it with the right loudspeaker 0.3 m farther and no knob touched."""
    return measure(moved_right(0.3), seed=2)


@pytest.fixture(scope="session")
def measure_right_moved() -> Callable[[float], Measured]:
    """Return what measures the pair with the right loudspeaker so much farther."""
    return lambda distance_m: measure(moved_right(distance_m), seed=3)


@pytest.fixture(scope="session")
def small(before: Measured, after: Measured) -> Comparison:
    """Return what the move of 12 mm and the knob changed."""
    return compare(before.snapshot, after.snapshot)


@pytest.fixture(scope="session")
def large(before: Measured, far_after: Measured) -> Comparison:
    """Return what the move of 0.3 m changed."""
    return compare(before.snapshot, far_after.snapshot)
