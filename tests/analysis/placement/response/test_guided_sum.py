"""The sum over many places: rows against modes one by one, and places that don't belong."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.basics.arrays import Complex, Float
from analysis.placement.response import guided_sum as subject
from analysis.placement.response.room_response import RoomModel, losses_of, pressure, room_model
from analysis.room.floor_plan import rectangle
from analysis.room.room import Room

C = 343.0
ROOM = Room(
    plan=rectangle(width_m=4.0, length_m=5.0),
    height_m=2.5,
    absorption={"floor": 0.3, "left": 0.05, "front": 0.2},
)
FREQUENCY_HZ = np.linspace(15.0, 300.0, 60)


@pytest.fixture(scope="module")
def model() -> RoomModel:
    return room_model(ROOM, 300, speed_of_sound_m_s=C)


def grid(x_m: float, z_m: float, *, n: int = 6) -> Float:
    """Return places on a line along y."""
    y = np.linspace(0.4, 1.4, n)
    seat = np.repeat(np.linspace(2.5, 4.0, n), n)
    return np.column_stack([np.full(n * n, x_m), np.tile(y, n), np.full(n * n, z_m), seat])


def one_by_one(model: RoomModel, sources: Float, seats: Float) -> Complex:
    """Return the sum by the shapes of all modes, place by place: no rows."""
    columns = [
        sum(
            pressure(model, source[k], seats[k], FREQUENCY_HZ, losses=losses_of(ROOM))[:, 0]
            for source in sources
        )
        for k in range(seats.shape[0])
    ]
    return np.stack(columns, axis=1)


@pytest.mark.parametrize("seat_x_m", [2.0, 1.83], ids=["on the middle line", "beside it"])
@pytest.mark.parametrize("right_z_m", [0.7, 0.9], ids=["alike", "unlike heights"])
def test_rows_are_the_modes_one_by_one(model: RoomModel, seat_x_m: float, right_z_m: float) -> None:
    # Second method: all shapes at source and seat, without rows and without groups.
    left, right = grid(1.04, 0.7), grid(2.96, right_z_m)
    seats = np.column_stack([np.full(36, seat_x_m), left[:, 3], np.full(36, 1.1)])
    sources = np.stack([left[:, :3], right[:, :3]])
    found = pressure(model, sources, seats, FREQUENCY_HZ, losses=losses_of(ROOM))
    known = one_by_one(model, sources, seats)
    np.testing.assert_allclose(found, known, rtol=1e-9, atol=1e-12 * np.abs(known).max())


def test_several_rows_in_any_order_and_pairs_out_of_line(model: RoomModel) -> None:
    # Second method, as above: three distances from the side wall, shuffled; the right one
    # stands 0.1 m farther back.
    left = np.concatenate([grid(x, 0.7) for x in (0.8, 1.0, 1.3)])
    right = left + np.array([1.7, 0.1, 0.0, 0.0])
    seats = np.column_stack([np.full(108, 2.0), left[:, 3], np.full(108, 1.1)])
    order = np.random.default_rng(3).permutation(108)
    sources = np.stack([left[order, :3], right[order, :3]])
    found = pressure(model, sources, seats[order], FREQUENCY_HZ, losses=losses_of(ROOM))
    known = one_by_one(model, sources, seats[order])
    np.testing.assert_allclose(found, known, rtol=1e-9, atol=1e-12 * np.abs(known).max())


def test_places_all_over_the_room_aren_t_put_in_rows(
    model: RoomModel, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Second method, as above.
    rng = np.random.default_rng(4)
    source, seat = rng.uniform(0.3, 0.9, (2, 20, 3)) * [4.0, 5.0, 2.0]
    monkeypatch.setattr(subject, "_terms_by_row", None)
    found = pressure(model, source, seat, FREQUENCY_HZ, losses=losses_of(ROOM))
    known = one_by_one(model, source[np.newaxis], seat)
    np.testing.assert_allclose(found, known, rtol=1e-9, atol=1e-12 * np.abs(known).max())
