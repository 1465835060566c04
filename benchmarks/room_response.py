"""Time and truncation of the modal sum, as ratios within one run.

    OPENBLAS_NUM_THREADS=1 python -m benchmarks.room_response

1,000 pair positions times 600 frequencies, 15 to 300 Hz, of a pair that slides along the room,
and of places scattered all over it, which share nothing. Times are the least of 40 runs: what
else the machine does can only add; threads that wait for each other would count as work. Ratios
are of processor time. Baselines: a numpy loop over the modes of the same sum, and
pyroomacoustics' images (order 40; five positions timed, scaled up). The converged sum has plan
modes to nine times the highest frequency.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Complex
from analysis.placement.response.room_response import RoomModel, losses_of, pressure, room_model
from analysis.room.floor_plan import rectangle
from analysis.room.modes import room_modes
from analysis.room.plan_modes import plan_modes
from analysis.room.room import Room

C = 343.0
Float = NDArray[np.float64]
FREQUENCY_HZ = np.linspace(15, 300, 600)


def shoebox(volume_m3: float) -> Room:
    """Return a room of proportions 5 : 4 : 2.5."""
    unit = (volume_m3 / 50) ** (1 / 3)
    plan = rectangle(width_m=4 * unit, length_m=5 * unit)
    return Room(plan=plan, height_m=2.5 * unit)


def grid(room: Room, n_places: int) -> tuple[Float, Float, Float]:
    """Return left, right and seat of a grid of pair positions: 40 distances by 25 seats."""
    _, _, width_m, length_m = room.plan.bounds_m
    front = np.linspace(0.07, 0.36, n_places // 25) * length_m
    seat = np.linspace(0.5, 0.85, 25) * length_m
    y, r = (one.ravel() for one in np.meshgrid(front, seat))
    ones = np.ones(y.size)
    left = np.column_stack([0.26 * width_m * ones, y, 0.7 * ones])
    right = np.column_stack([0.74 * width_m * ones, y, 0.7 * ones])
    return left, right, np.column_stack([0.5 * width_m * ones, r, 1.1 * ones])


def pair(model: RoomModel, left: Float, right: Float, seat: Float) -> Complex:
    """Return the pressure of both."""
    losses = losses_of(model.room)
    return pressure(model, np.stack([left, right]), seat, FREQUENCY_HZ, losses=losses)


def scattered(room: Room, n_places: int) -> tuple[Float, Float, Float]:
    """Return left, right and seat of pairs anywhere in the room."""
    _, _, width_m, length_m = room.plan.bounds_m
    rng = np.random.default_rng(1)
    share = rng.uniform(0.1, 0.9, (3, n_places, 2))
    heights = np.array([0.7, 0.7, 1.1])[:, np.newaxis, np.newaxis] + np.zeros((3, n_places, 1))
    places = np.concatenate([share * [width_m, length_m], heights], axis=2)
    return places[0], places[1], places[2]


def least_s(call: Callable[[], object], n_times: int) -> tuple[float, float]:
    """Return the least wall and processor time of a call."""
    times = []
    for _ in range(n_times):
        wall_s, own_s = time.perf_counter(), time.process_time()
        call()
        times.append((time.perf_counter() - wall_s, time.process_time() - own_s))
    wall, own = np.min(times, axis=0)
    return float(wall), float(own)


def loop(room: Room, left: Float, right: Float, seat: Float) -> Complex:
    """Return the sum over the modes to 450 Hz one by one."""
    modes = room_modes(room, 450, speed_of_sound_m_s=C)
    damping = losses_of(room).damping_per_s(modes.surface_weight_per_m, speed_of_sound_m_s=C)
    product = (modes.shapes_at(left) + modes.shapes_at(right)) * modes.shapes_at(seat)
    k = 2 * np.pi * FREQUENCY_HZ / C
    total = np.zeros((FREQUENCY_HZ.size, left.shape[0]), complex)
    for n, wavenumber in enumerate(modes.wavenumber_rad_m):
        each = 1 / (wavenumber**2 - k**2 + 2j * k * damping[n] / C)
        total += np.outer(each, product[:, n])
    return total / room.volume_m3


def images_s(room: Room, left: Float, seat: Float) -> float:
    """Return the processor time of the image-source library for one source and seat."""
    import pyroomacoustics as pra

    _, _, width_m, length_m = room.plan.bounds_m
    box = pra.ShoeBox(
        [width_m, length_m, room.height_m],
        fs=1000,
        max_order=40,
        materials=pra.Material(0.2),
        air_absorption=False,
    )
    box.add_source(left[0])
    box.add_microphone(seat[0])
    start = time.process_time()
    box.compute_rir()
    return time.process_time() - start


def error_db(found: Complex, truth: Complex) -> float:
    """Return the rms error over points within 15 dB of each curve's mean."""
    level = 20 * np.log10(np.abs(truth))
    off = 20 * np.log10(np.abs(found)) - level
    return float(np.sqrt(np.mean(off[level > level.mean(axis=0) - 15] ** 2)))


def truncation_db(room: Room, model: RoomModel, places: tuple[Float, Float, Float]) -> float:
    """Return the rms error against the converged sum, at each tenth place."""
    few = tuple(one[::10] for one in places)
    flat = plan_modes(room.plan, 2 * np.pi * 9 * 300 / C)
    full = RoomModel(room=room, speed_of_sound_m_s=C, flat=flat, whole=None)
    return error_db(pair(model, *few), pair(full, *few))


def main() -> None:
    """Print the table."""
    base_s = None
    for volume_m3 in (50, 100, 200):
        room = shoebox(volume_m3)
        model = room_model(room, 300, speed_of_sound_m_s=C)
        for name, places in (("slid", grid(room, 1000)), ("scattered", scattered(room, 1000))):
            wall_s, own_s = least_s(lambda m=model, p=places: pair(m, *p), 40)
            base_s = base_s or own_s
            print(
                f"{volume_m3:4d} m³, {name}: {1e3 * wall_s:.1f} ms here, {1e3 * own_s:.1f} ms of "
                f"processor time, {own_s / base_s:.2f} of the first, "
                f"{truncation_db(room, model, places):.4f} dB rms off the converged sum"
            )
    room = shoebox(50)
    places = grid(room, 1000)
    loop_s = least_s(lambda: loop(room, *places), 3)[1]
    library_s = 2000 * np.median([images_s(room, places[0], places[2]) for _ in range(5)])
    assert base_s is not None
    print(f"loop {loop_s / base_s:.0f} ×, image library {library_s / base_s:.0f} × the first")


if __name__ == "__main__":
    main()
