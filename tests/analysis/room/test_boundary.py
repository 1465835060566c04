"""Boundary cancellations: a worked case, a simulator, and errors propagated by trial."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from analysis.basics.air import Air, air_at
from analysis.room.boundary import cancellations, image_of, mirror_paths, power_taken
from analysis.room.room import SURFACES, Point, Room, mean_absorption

AIR = air_at(20.0, temperature_std_c=0.0)
ROOM = Room(length_m=5.5, width_m=4.4, height_m=2.5, absorption=dict.fromkeys(SURFACES, 0.0))
SOURCE = Point(x_m=1.2, y_m=0.8, z_m=1.0)
SEAT = Point(x_m=2.25, y_m=3.0, z_m=1.1)

# The simulator's absorption keys for the walls of our room: its x is our x, its y ours.
PYROOM_NAMES = {
    "left": "west",
    "right": "east",
    "front": "south",
    "rear": "north",
    "floor": "floor",
    "ceiling": "ceiling",
}


@pytest.mark.parametrize(
    ("surface", "extra_path_m", "frequency_hz", "depth_db", "quarter_wave_hz"),
    [
        ("front", 1.5039, 114.10, -8.37, 107.25),
        ("left", 1.6532, 103.80, -7.87, 71.5),
        ("floor", 0.7778, 220.63, -12.33, 85.8),
        ("ceiling", 1.3487, 127.23, -8.97, 57.2),
    ],
)
def test_worked_case(
    surface: str,
    extra_path_m: float,
    frequency_hz: float,
    depth_db: float,
    quarter_wave_hz: float,
) -> None:
    """Closed form, worked apart from this code: rigid walls, seat 2.44 m away."""
    first = next(
        one for one in cancellations(ROOM, SOURCE, SEAT, air=AIR) if one.surface == surface
    )
    assert first.order == 1
    assert first.direct_m == pytest.approx(2.4398, abs=1e-4)
    assert first.extra_path_m == pytest.approx(extra_path_m, abs=1e-4)
    assert first.frequency_hz == pytest.approx(frequency_hz, abs=0.02)
    assert first.depth_db == pytest.approx(depth_db, abs=0.01)
    assert first.quarter_wave_hz == pytest.approx(quarter_wave_hz, abs=0.1)


@pytest.mark.parametrize(
    ("frequency_hz", "feet"),
    [(60, 4.71), (70, 4.04), (80, 3.53), (90, 3.14), (100, 2.83), (110, 2.57)],
)
def test_far_seat_meets_the_quarter_wave_rule(frequency_hz: float, feet: float) -> None:
    """Published rule (a table of c/4d at 1130 ft/s): the limit of a far seat on the axis."""
    gap_m = 0.3048 * feet
    room = Room(length_m=30.0, width_m=4.0, height_m=2.5)
    found = cancellations(
        room,
        Point(x_m=2.0, y_m=gap_m, z_m=1.0),
        Point(x_m=2.0, y_m=29.0, z_m=1.0),
        air=Air(
            temperature_c=20.0,
            temperature_std_c=0.0,
            relative_humidity_percent=None,
            pressure_pa=101325.0,
            speed_of_sound_m_s=0.3048 * 1130,
            speed_of_sound_std_m_s=0.0,
            formula="given",
        ),
    )
    front = next(one for one in found if one.surface == "front")
    assert front.frequency_hz == pytest.approx(frequency_hz, rel=2e-3)
    assert front.quarter_wave_hz == pytest.approx(front.frequency_hz, rel=1e-9)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("surface", ["front", "left", "rear", "floor"])
def test_dip_stands_in_a_simulated_response(surface: str) -> None:
    """Second method: an image-source simulator (pyroomacoustics), one reflecting surface."""
    pra = pytest.importorskip("pyroomacoustics")
    absorption = {name: 1.0 for name in SURFACES} | {surface: 0.3}
    room = dataclasses.replace(ROOM, absorption=absorption)
    simulated = _simulate(pra, room)
    alone = _simulate(pra, dataclasses.replace(ROOM, absorption=dict.fromkeys(SURFACES, 1.0)))
    spectrum = np.abs(np.fft.rfft(simulated, 1 << 16)) / np.abs(np.fft.rfft(alone, 1 << 16))
    frequency = np.fft.rfftfreq(1 << 16, 1 / 4000)
    for one in cancellations(room, SOURCE, SEAT, air=AIR):
        if one.surface != surface or one.frequency_hz > 800:
            continue
        near = np.abs(frequency - one.frequency_hz) < 0.2 * one.frequency_hz / one.order
        at = np.flatnonzero(near)[np.argmin(spectrum[near])]
        assert frequency[at] == pytest.approx(one.frequency_hz, rel=5e-3)
        assert 20 * np.log10(spectrum[at]) == pytest.approx(one.depth_db, abs=0.1)


def _simulate(pra: object, room: Room) -> np.ndarray:
    """Return the response from SOURCE to SEAT at 4 kHz, first-order images only."""
    pra.constants.set("rir_hpf_enable", False)  # type: ignore[attr-defined]
    materials = {
        PYROOM_NAMES[name]: pra.Material(room.absorption_of(name))  # type: ignore[attr-defined]
        for name in SURFACES
    }
    box = pra.ShoeBox(  # type: ignore[attr-defined]
        room.size_m, fs=4000, materials=materials, max_order=1, air_absorption=False
    )
    box.set_sound_speed(AIR.speed_of_sound_m_s)
    box.add_source(SOURCE.array)
    box.add_microphone(SEAT.array)
    box.compute_rir()
    return np.array(box.rir[0][0])


def test_later_orders_are_odd_multiples() -> None:
    """Closed form: (2k - 1) c / 2d, all of them up to the limit."""
    found = cancellations(ROOM, SOURCE, SEAT, air=AIR, highest_hz=600.0)
    left = [one for one in found if one.surface == "left"]
    expected = [
        (2 * k - 1) * AIR.speed_of_sound_m_s / (2 * left[0].extra_path_m) for k in (1, 2, 3)
    ]
    np.testing.assert_allclose([one.frequency_hz for one in left], expected)
    assert expected[-1] < 600 < expected[-1] * 7 / 5
    assert [one.frequency_hz for one in found] == sorted(one.frequency_hz for one in found)


def test_frequency_uncertainty_agrees_with_trials() -> None:
    """Second method: 4000 draws of tape and temperature errors."""
    rng = np.random.default_rng(3)
    air = air_at(20.0, temperature_std_c=3.0)
    stated = {
        one.surface: one
        for one in cancellations(ROOM, SOURCE, SEAT, air=air, position_std_m=0.02)
        if one.order == 1
    }
    sigma_m = 0.02
    n_trials = 4000
    source = SOURCE.array + sigma_m * rng.standard_normal((n_trials, 3))
    seat = SEAT.array + sigma_m * rng.standard_normal((n_trials, 3))
    far = ROOM.size_m + sigma_m * rng.standard_normal((n_trials, 3))
    speed = air.speed_of_sound_m_s + air.speed_of_sound_std_m_s * rng.standard_normal(n_trials)
    direct = np.linalg.norm(source - seat, axis=1)
    for surface, axis, at_far in [("front", 1, False), ("rear", 1, True), ("ceiling", 2, True)]:
        image = source.copy()
        image[:, axis] = 2 * far[:, axis] * at_far - source[:, axis]
        drawn_hz = speed / (2 * (np.linalg.norm(image - seat, axis=1) - direct))
        assert stated[surface].frequency_std_hz == pytest.approx(np.std(drawn_hz), rel=0.06)


def test_absorption_makes_the_dip_shallow() -> None:
    """Closed form: the reflected pressure is sqrt(1 - 0.75) = 0.5; none is left at 1."""
    half = dataclasses.replace(ROOM, absorption=dict.fromkeys(SURFACES, 0.75))
    front = next(
        one for one in cancellations(half, SOURCE, SEAT, air=AIR) if one.surface == "front"
    )
    ratio = front.direct_m / (front.direct_m + front.extra_path_m)
    assert front.depth_db == pytest.approx(20 * math.log10(1 - 0.5 * ratio))
    dead = dataclasses.replace(ROOM, absorption=dict.fromkeys(SURFACES, 1.0))
    assert all(one.depth_db == 0 for one in cancellations(dead, SOURCE, SEAT, air=AIR))


@pytest.mark.parametrize("sources", [1, 2])
def test_power_taken_in_a_dead_room_is_that_of_two_paths(sources: int) -> None:
    """Closed form: |1/r_d - R/r_i|^2 against 1/r_d^2 + R^2/r_i^2; a symmetric pair alike."""
    absorption = dict.fromkeys(SURFACES, 1.0) | {"front": 0.0}
    room = Room(length_m=5.5, width_m=4.5, height_m=2.5, absorption=absorption)
    pair = (SOURCE, dataclasses.replace(SOURCE, x_m=4.5 - SOURCE.x_m))[:sources]
    front = next(
        one for one in cancellations(room, SOURCE, SEAT, air=AIR) if one.surface == "front"
    )
    taken = power_taken(
        [mirror_paths(room, point, SEAT)["front"] for point in pair],
        frequency_hz=front.frequency_hz,
        speed_of_sound_m_s=AIR.speed_of_sound_m_s,
        mean_absorption=0.999,
        surface_m2=room.surface_m2,
    )
    direct, image = 1 / front.direct_m, 1 / (front.direct_m + front.extra_path_m)
    assert taken == pytest.approx(1 - (direct - image) ** 2 / (direct**2 + image**2), rel=0.02)


def test_live_room_fills_the_cancellation() -> None:
    """Invariant: the longer the room rings, the less one reflection takes away."""
    taken = [
        power_taken(
            [mirror_paths(ROOM, SOURCE, SEAT)["front"]],
            frequency_hz=114.1,
            speed_of_sound_m_s=343.2,
            mean_absorption=mean_absorption(
                decay_s,
                volume_m3=ROOM.volume_m3,
                surface_m2=ROOM.surface_m2,
                speed_of_sound_m_s=343.2,
            ),
            surface_m2=ROOM.surface_m2,
        )
        for decay_s in (0.05, 0.1, 0.3, 0.6)
    ]
    assert taken == sorted(taken, reverse=True)
    assert taken[-1] > 0


def test_source_on_a_surface_has_no_cancellation_from_it() -> None:
    """Limit: no extra path, no dip."""
    flush = dataclasses.replace(SOURCE, y_m=0.0)
    surfaces = {one.surface for one in cancellations(ROOM, flush, SEAT, air=AIR)}
    assert surfaces == set(SURFACES) - {"front"}


def test_image_of_a_far_wall() -> None:
    """Closed form: 2 W - x."""
    assert image_of(ROOM, SOURCE, "right").x_m == pytest.approx(2 * 4.4 - 1.2)
    assert image_of(ROOM, SOURCE, "ceiling").z_m == pytest.approx(4.0)


def test_refuses_points_outside() -> None:
    """Known input."""
    with pytest.raises(ValueError, match="seat"):
        cancellations(ROOM, SOURCE, Point(x_m=9.0, y_m=1.0, z_m=1.0), air=AIR)
    with pytest.raises(ValueError, match="apart"):
        cancellations(ROOM, SOURCE, SOURCE, air=AIR)
