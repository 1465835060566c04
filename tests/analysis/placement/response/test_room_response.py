"""The modal sum: against images, its own limits, and the plain sum."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.basics.arrays import Float
from analysis.placement.response.room_response import Losses, losses_of, pressure, room_model
from analysis.room.floor_plan import FloorPlan, rectangle
from analysis.room.modes import room_modes
from analysis.room.room import SURFACES, Point, Room, rectangular_room
from benchmarks.image_sources import image_pressure

C = 343.0
SOURCE, SEAT = Point(x_m=1.0, y_m=0.8, z_m=0.6), Point(x_m=2.1, y_m=3.0, z_m=1.1)
DECAY_S = 0.4
RIGID = dict.fromkeys(SURFACES, 0.0)


def level_db(values: Float) -> Float:
    return 20 * np.log10(np.abs(values))


@pytest.mark.parametrize(
    "size", [(5.0, 4.0, 2.5), (6.2, 4.6, 2.7), (4.1, 3.3, 2.4), (7.0, 3.6, 2.6), (5.5, 5.4, 2.9)]
)
def test_modes_and_images_agree_where_damping_is_the_same(
    size: tuple[float, float, float],
) -> None:
    # Second method: images of rigid walls in air that absorbs. 0.5 dB rms, 20 to 200 Hz, over
    # points within 15 dB of the mean.
    room = rectangular_room(length_m=size[0], width_m=size[1], height_m=size[2], absorption=RIGID)
    frequency_hz = np.arange(20.0, 201.0)
    damping = 3 * math.log(10) / DECAY_S
    images = image_pressure(
        room,
        SOURCE,
        SEAT,
        frequency_hz,
        speed_of_sound_m_s=C,
        duration_s=0.5,
        damping_per_s=damping,
    )
    modes = pressure(
        room_model(room, 300, speed_of_sound_m_s=C),
        SOURCE.array,
        SEAT.array,
        frequency_hz,
        losses=Losses(admittance=(0.0,) * 6, air_per_s=damping),
    )[:, 0]
    off, level = level_db(modes) - level_db(images), level_db(images)
    near = level > level.mean() - 15
    assert np.sqrt(np.mean(off[near] ** 2)) < 0.5
    assert np.std(np.angle(modes / images)) < 0.1


def test_images_agree_with_a_reference_library() -> None:
    # Second method: pyroomacoustics, absorbing walls; its high-pass off, its 40 samples out.
    import pyroomacoustics as pra

    kept = {"front": 0.3, "rear": 0.4, "left": 0.2, "right": 0.35, "floor": 0.3, "ceiling": 0.25}
    room = rectangular_room(length_m=5, width_m=4, height_m=2.5, absorption=kept)  # type: ignore[arg-type]
    names = ("left", "right", "front", "rear", "floor", "ceiling")
    walls = ("west", "east", "south", "north", "floor", "ceiling")
    rate_hz = 2000
    high_pass = pra.constants.get("rir_hpf_enable")
    pra.constants.set("rir_hpf_enable", False)
    try:
        box = pra.ShoeBox(
            [4, 5, 2.5],
            fs=rate_hz,
            max_order=30,
            air_absorption=False,
            materials={w: pra.Material(kept[n]) for w, n in zip(walls, names, strict=True)},
        )
        box.set_sound_speed(C)
        box.add_source(SOURCE.array)
        box.add_microphone(SEAT.array)
        box.compute_rir()
    finally:
        pra.constants.set("rir_hpf_enable", high_pass)
    heard = box.rir[0][0][40:]
    frequency_hz = np.arange(30.0, 201.0, 5)
    time_s = np.arange(heard.size) / rate_hz
    known = np.exp(-2j * np.pi * np.outer(frequency_hz, time_s)) @ heard / (4 * np.pi)
    found = image_pressure(room, SOURCE, SEAT, frequency_hz, speed_of_sound_m_s=C, duration_s=0.6)
    np.testing.assert_allclose(level_db(found), level_db(known), atol=0.5)  # worst in dips


def test_the_closed_vertical_sum_is_the_plain_sum_over_modes() -> None:
    # Second method: all modes to 500 Hz one by one, at and below the first resonances.
    room = Room(
        plan=FloorPlan(corners_m=((0, 0), (4.2, 0), (3.6, 5), (0, 5))),
        height_m=2.5,
        absorption={"floor": 0.3, "ceiling": 0.05, "front": 0.2},
    )
    losses = losses_of(room)
    frequency_hz = np.array([20.0, 34.0, 68.6, 80.0])
    quick = pressure(
        room_model(room, 300, speed_of_sound_m_s=C),
        SOURCE.array,
        SEAT.array,
        frequency_hz,
        losses=losses,
    )[:, 0]
    modes = room_modes(room, 500, speed_of_sound_m_s=C)
    k = 2 * np.pi * frequency_hz[:, np.newaxis] / C
    damping = losses.damping_per_s(modes.surface_weight_per_m, speed_of_sound_m_s=C)
    each = 1 / (modes.wavenumber_rad_m**2 - k**2 + 2j * k * damping / C)
    product = modes.shapes_at(SOURCE.array)[0] * modes.shapes_at(SEAT.array)[0]
    plain = each @ product / room.volume_m3
    np.testing.assert_allclose(np.abs(quick), np.abs(plain), rtol=0.05)


def test_source_and_seat_can_change_places() -> None:
    # Invariant: reciprocity, in a room with a slanted wall.
    room = Room(plan=FloorPlan(corners_m=((0, 0), (4.2, 0), (3.6, 5), (0, 5))), height_m=2.5)
    model = room_model(room, 150, speed_of_sound_m_s=C)
    frequency_hz = np.arange(20.0, 100, 7)
    one, other = (
        pressure(model, a, b, frequency_hz, losses=losses_of(room))
        for a, b in ((SOURCE.array, SEAT.array), (SEAT.array, SOURCE.array))
    )
    np.testing.assert_allclose(one, other, rtol=1e-9)


def test_a_larger_room_is_lower() -> None:
    # Invariant: with plan and height 2 % larger everything is 2 % lower and weaker.
    room = Room(plan=rectangle(width_m=4, length_m=5), height_m=2.5)
    larger = Room(plan=rectangle(width_m=4.08, length_m=5.1), height_m=2.55)
    frequency_hz = np.arange(20.0, 100, 7)
    losses = losses_of(room)
    stretched = pressure(
        room_model(room, 300, speed_of_sound_m_s=C),
        SOURCE.array,
        SEAT.array,
        frequency_hz,
        losses=losses,
        scale=(1.02, 1.02, 1.02),
    )
    built = pressure(
        room_model(larger, 300 / 1.02, speed_of_sound_m_s=C),
        SOURCE.array * 1.02,
        SEAT.array * 1.02,
        frequency_hz,
        losses=losses,
    )
    np.testing.assert_allclose(stretched, built, rtol=1e-9)


@pytest.mark.parametrize(
    ("corners", "limit_db"),
    [
        (((0, 0), (4, 0), (4, 5), (0, 5)), 0.2),
        (((0, 0), (4.2, 0), (3.6, 5), (0, 5)), 0.3),
        (((0, 0), (4, 0), (4, 3), (6, 3), (6, 5), (0, 5)), 0.3),
    ],
)
def test_length_width_and_height_are_stretched_each_alone(
    corners: tuple[tuple[float, float], ...], limit_db: float
) -> None:
    # Second method: the larger room, solved by itself.
    scale = np.array([1.02, 0.985, 1.01])
    plan = FloorPlan(corners_m=corners)
    room = Room(plan=plan, height_m=2.5)
    larger = Room(
        plan=FloorPlan(corners_m=tuple(map(tuple, plan.array * scale[:2]))), height_m=2.5 * scale[2]
    )
    frequency_hz = np.arange(25.0, 201, 5)
    stretched, built = (
        pressure(
            room_model(room, 300, speed_of_sound_m_s=C),
            SOURCE.array * place,
            SEAT.array * place,
            frequency_hz,
            losses=losses_of(room),
            scale=given,
        )
        for room, place, given in (
            (room, 1.0, tuple(scale)),
            (larger, scale, (1.0, 1.0, 1.0)),
        )
    )
    off = level_db(stretched) - level_db(built)
    assert np.sqrt(np.mean(off**2)) < limit_db


def test_unlike_numbers_of_places_are_refused() -> None:
    room = Room(plan=rectangle(width_m=4, length_m=5), height_m=2.5)
    model = room_model(room, 60, speed_of_sound_m_s=C)
    with pytest.raises(ValueError, match="must both be"):
        pressure(model, np.ones((2, 3)), np.ones((3, 3)), np.array([50.0]), losses=losses_of(room))


def test_under_a_ceiling_that_hardly_slopes_the_levels_are_those_of_a_level_one() -> None:
    # Second method: all modes by prisms against the closed sum over the height; what the
    # truncated sum of all modes leaves out is small beside resonances.
    plan = rectangle(width_m=3.0, length_m=3.6)
    level = Room(plan=plan, height_m=2.4)
    sloped = Room(plan=plan, height_m=2.4, far_height_m=2.4001)
    seat, frequency_hz = np.array([1.4, 2.9, 1.1]), np.array([20.0, 47.0, 57.0, 71.5])
    one, other = (
        pressure(
            room_model(room, 140, speed_of_sound_m_s=C),
            SOURCE.array,
            seat,
            frequency_hz,
            losses=losses_of(room),
        )
        for room in (level, sloped)
    )
    np.testing.assert_allclose(level_db(other), level_db(one), atol=1.0)


def test_the_sum_over_all_modes_of_a_room_without_a_section() -> None:
    # Second method: a side wall bent out by 2 mm leaves a plan that has no section,
    # so all modes are found by prisms; the rectangle is solved on its upright section.
    corners = ((0, 0), (3.0, 0), (3.002, 1.8), (3.0, 3.6), (0, 3.6))
    boxed, cut = (
        Room(plan=plan, height_m=2.2, far_height_m=2.6)
        for plan in (rectangle(width_m=3.0, length_m=3.6), FloorPlan(corners_m=corners))
    )
    seat, frequency_hz = np.array([1.4, 2.9, 1.1]), np.array([20.0, 47.0, 57.0, 71.5])
    models = [room_model(room, 140, speed_of_sound_m_s=C) for room in (boxed, cut)]
    assert models[0].whole is None
    assert models[1].flat is None
    one, other = (
        pressure(model, SOURCE.array, seat, frequency_hz, losses=losses_of(model.room))
        for model in models
    )
    np.testing.assert_allclose(level_db(other), level_db(one), atol=1.0)
