"""Reflections: a worked case, a simulator, errors propagated by trial, measured responses."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.basics.air import Air, air_at
from analysis.room.floor_plan import FloorPlan
from analysis.room.reflections import (
    Cancellation,
    cancellations,
    power_taken,
    reflections,
    reflections_by_surface,
)
from analysis.room.reverberation import eyring_absorption
from analysis.room.room import SOURCE_OR_SEAT_STD_M, SURFACES, Point, Room, rectangular_room

AIR = air_at(20.0, temperature_std_c=0.0)
ROOM = rectangular_room(
    length_m=5.5, width_m=4.4, height_m=2.5, absorption=dict.fromkeys(SURFACES, 0.0)
)
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


def _cancelled(room: Room, source: Point, seat: Point) -> tuple[Cancellation, ...]:
    return cancellations(reflections(room, source, seat), air=AIR)


@pytest.mark.parametrize(
    ("surface", "extra_path_m", "frequency_hz", "depth_db"),
    [
        ("front", 1.5039, 114.10, -8.37),
        ("left", 1.6532, 103.80, -7.87),
        ("floor", 0.7778, 220.63, -12.33),
        ("ceiling", 1.3487, 127.23, -8.97),
    ],
)
def test_worked_case(
    surface: str,
    extra_path_m: float,
    frequency_hz: float,
    depth_db: float,
) -> None:
    """Closed form, worked apart from this code: rigid walls, seat 2.44 m away."""
    first = next(one for one in _cancelled(ROOM, SOURCE, SEAT) if one.surface == surface)
    assert first.order == 1
    assert first.direct_m == pytest.approx(2.4398, abs=1e-4)
    assert first.extra_path_m == pytest.approx(extra_path_m, abs=1e-4)
    assert first.frequency_hz == pytest.approx(frequency_hz, abs=0.02)
    assert first.depth_db == pytest.approx(depth_db, abs=0.01)


@pytest.mark.parametrize(
    ("frequency_hz", "feet"),
    [(60, 4.71), (70, 4.04), (80, 3.53), (90, 3.14), (100, 2.83), (110, 2.57)],
)
def test_far_seat_meets_the_quarter_wave_rule(frequency_hz: float, feet: float) -> None:
    """Published rule (a table of c/4d at 1130 ft/s): the limit of a far seat on the axis."""
    gap_m = 0.3048 * feet
    room = rectangular_room(length_m=30.0, width_m=4.0, height_m=2.5)
    air = Air(
        temperature_c=20.0,
        temperature_std_c=0.0,
        relative_humidity_percent=None,
        pressure_pa=101325.0,
        speed_of_sound_m_s=0.3048 * 1130,
        speed_of_sound_std_m_s=0.0,
        formula="given",
    )
    source, seat = Point(x_m=2.0, y_m=gap_m, z_m=1.0), Point(x_m=2.0, y_m=29.0, z_m=1.0)
    found = cancellations(reflections(room, source, seat), air=air)
    front = next(one for one in found if one.surface == "front")
    assert front.frequency_hz == pytest.approx(frequency_hz, rel=2e-3)
    assert front.frequency_hz == pytest.approx(0.3048 * 1130 / (4 * gap_m), rel=1e-9)


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
    for one in _cancelled(room, SOURCE, SEAT):
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
    found = cancellations(reflections(ROOM, SOURCE, SEAT), air=AIR, highest_hz=600.0)
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
        for one in cancellations(reflections(ROOM, SOURCE, SEAT), air=air)
        if one.order == 1
    }
    sigma_m = SOURCE_OR_SEAT_STD_M
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
    front = next(one for one in _cancelled(half, SOURCE, SEAT) if one.surface == "front")
    ratio = front.direct_m / (front.direct_m + front.extra_path_m)
    assert front.depth_db == pytest.approx(20 * math.log10(1 - 0.5 * ratio))
    dead = dataclasses.replace(ROOM, absorption=dict.fromkeys(SURFACES, 1.0))
    assert all(one.depth_db == 0 for one in _cancelled(dead, SOURCE, SEAT))


@pytest.mark.parametrize("sources", [1, 2])
def test_power_taken_in_a_dead_room_is_that_of_two_paths(sources: int) -> None:
    """Closed form: |1/r_d - R/r_i|^2 against 1/r_d^2 + R^2/r_i^2; a symmetric pair alike."""
    absorption = dict.fromkeys(SURFACES, 1.0) | {"front": 0.0}
    room = rectangular_room(length_m=5.5, width_m=4.5, height_m=2.5, absorption=absorption)
    pair = (SOURCE, dataclasses.replace(SOURCE, x_m=4.5 - SOURCE.x_m))[:sources]
    front = next(one for one in _cancelled(room, SOURCE, SEAT) if one.surface == "front")
    taken = power_taken(
        [reflections_by_surface(room, point, SEAT)["front"] for point in pair],
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
            [reflections_by_surface(ROOM, SOURCE, SEAT)["front"]],
            frequency_hz=114.1,
            speed_of_sound_m_s=343.2,
            mean_absorption=eyring_absorption(
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
    surfaces = {one.surface for one in _cancelled(ROOM, flush, SEAT)}
    assert surfaces == set(SURFACES) - {"front"}


def test_image_of_a_far_wall() -> None:
    """Closed form: the image stands at 2 W - x, and at 2 H - z."""
    found = reflections_by_surface(ROOM, SOURCE, SEAT)
    right = np.hypot(2 * 4.4 - 1.2 - 2.25, np.hypot(2.2, 0.1))
    ceiling = np.hypot(2 * 2.5 - 1.0 - 1.1, np.hypot(1.05, 2.2))
    assert found["right"].image_m == pytest.approx(right)
    assert found["ceiling"].image_m == pytest.approx(ceiling)


def test_refuses_points_outside() -> None:
    """Known input."""
    with pytest.raises(ValueError, match="seat"):
        reflections(ROOM, SOURCE, Point(x_m=9.0, y_m=1.0, z_m=1.0))
    with pytest.raises(ValueError, match="apart"):
        reflections(ROOM, SOURCE, SOURCE)


def test_a_wall_out_of_sight_reflects_nothing() -> None:
    # Known input: from the seat's arm the far walls of the other arm can't be met.
    plan = FloorPlan(corners_m=((0, 0), (6, 0), (6, 2), (2.5, 2), (2.5, 6), (0, 6)))
    source, seat = Point(x_m=1, y_m=3, z_m=1), Point(x_m=1, y_m=5.5, z_m=1)
    seen = {one.surface for one in reflections(Room(plan=plan, height_m=2.5), source, seat)}
    assert seen == {"front", "wall 4", "wall 5", "wall 6", "floor", "ceiling"}


def test_the_level_dips_by_the_depth_at_the_cancellation() -> None:
    # Invariant.
    (one, *_) = reflections(rectangular_room(length_m=5, width_m=4, height_m=2.5), SOURCE, SEAT)
    at_hz = np.array(one.cancellations_hz(speed_of_sound_m_s=343.0))
    level = one.level_db(at_hz, speed_of_sound_m_s=343.0)
    np.testing.assert_allclose(level, one.depth_db)


def test_measured_reflections_arrive_when_the_mirror_says() -> None:
    # Open data: dEchorate (Di Carlo et al. 2021, MIT): arrival times read by hand from twelve
    # measured responses; places good to some 30 mm. One wall's notes are wrong by up to 2 ms
    # upstream and are left out.
    path = Path(__file__).parents[3].parent / "shared/data/shoebox-echo-12mic/data_rooge.mat"
    if not path.is_file():
        pytest.skip("the open data set shoebox-echo-12mic isn't here")
    from scipy.io import loadmat

    table = loadmat(path)
    room = rectangular_room(width_m=5.705, length_m=5.965, height_m=2.355)
    source = _point(np.squeeze(table["src"]))
    noted_s = np.reshape(table["T_reflct"], (6, 12)) - np.reshape(table["T_direct"], (1, 12))
    off_s: dict[str, list[float]] = {}
    for k, place in enumerate(np.reshape(table["mics"], (3, 12)).T):
        for one in reflections(room, source, _point(place)):
            row = ("left", "right", "front", "rear", "floor", "ceiling").index(one.surface)
            off_s.setdefault(one.surface, []).append(
                float(one.extra_path_m / 345.844 - noted_s[row, k])
            )
    for surface in ("left", "right", "rear", "floor", "ceiling"):
        assert len(off_s[surface]) == 12
        assert float(np.median(np.abs(off_s[surface]))) < 0.3e-3, surface


def _point(place: NDArray[np.float64]) -> Point:
    x_m, y_m, z_m = (float(value) for value in place)
    return Point(x_m=x_m, y_m=y_m, z_m=z_m)
