"""What keeps the advice from the file alone from being right: one truth at a time is told.

    python -m benchmarks.placement_limits [rooms] [seed]

Truth and file as in `benchmarks.placement`; no readings. Beside the advice as it is stand: rooms
drawn from the very distribution that the truth was drawn from (no one can know more before
measuring), the true absorption told, and loudspeakers taken to end at 30 Hz where the truth has
none.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis.placement.choice import choose_places
from analysis.placement.fit.parameters import NAMES, offsets_with
from analysis.placement.monte_carlo import DrawnRoom, draw_rooms, likeliest_offsets
from analysis.placement.places import Places
from analysis.placement.response.room_response import RoomModel, room_model
from analysis.room.room import SURFACES
from benchmarks.placement import Case, Float, Rng, draw_absorption, draw_case, tried_places
from benchmarks.placement import true_evenness as truth

AT_100_HZ = math.log2(100 / 63) / 2
"""How far 100 Hz lies from 63 to 250 Hz, over the logarithm."""

Rooms = tuple[DrawnRoom, ...]


def with_absorption(room: DrawnRoom, low: Float, high: Float) -> DrawnRoom:
    """Return a room of given absorption at 63 and 250 Hz, six surfaces as in `SURFACES`."""
    loss = [-np.log1p(-kept) for kept in (low, high)]
    at_100 = -np.expm1(-(loss[0] ** (1 - AT_100_HZ)) * loss[1] ** AT_100_HZ)
    slope = float(np.mean(np.log(loss[1] / loss[0]))) / math.log(250 / 63)
    room = room.model.room
    offsets = room.offsets.copy()
    offsets[NAMES.index("loss_slope")] = slope
    absorption: dict[str, float] = dict(zip(SURFACES, at_100.tolist(), strict=True))
    return DrawnRoom(
        model=replace(room.model, room=replace(room, absorption=absorption)), offsets=offsets
    )


def as_it_is(_case: Case, model: RoomModel, rng: Rng) -> Rooms:
    """Return the rooms that the program draws."""
    return draw_rooms(model, rng)


def like_the_truth(_case: Case, model: RoomModel, rng: Rng) -> Rooms:
    """Return rooms of the absorption's true distribution."""
    return tuple(with_absorption(one, *draw_absorption(rng)) for one in draw_rooms(model, rng))


def told_absorption(case: Case, model: RoomModel, rng: Rng) -> Rooms:
    """Return rooms of the true absorption."""
    low, high = (
        np.array([room.absorption_of(name) for name in SURFACES]) for room in (case.low, case.high)
    )
    return tuple(with_absorption(one, low, high) for one in draw_rooms(model, rng))


def with_a_lower_end(_case: Case, model: RoomModel, rng: Rng) -> Rooms:
    """Return rooms with loudspeakers that end at 30 Hz."""
    return draw_rooms(model, rng, lower_end_hz=30.0)


DRAWS: dict[str, Callable[[Case, RoomModel, Rng], Rooms]] = {
    "as it is": as_it_is,
    "absorption drawn as the truth was": like_the_truth,
    "absorption told": told_absorption,
    "loudspeakers guessed, 30 Hz": with_a_lower_end,
}


def behind(case: Case, places: Places, evenness: Float, rng: Rng) -> dict[str, tuple[float, float]]:
    """Return by how much each advice is less even than the best, and its rank."""
    model = room_model(case.told, 300, speed_of_sound_m_s=343.2)
    found = {}
    for name, draw in DRAWS.items():
        offsets = offsets_with() if draw is with_a_lower_end else likeliest_offsets()
        rooms = draw(case, model, rng)
        index = choose_places(model, places, rng=rng, offsets=offsets, rooms=rooms).choices[0].index
        found[name] = (
            float(evenness[index] - evenness.min()),
            float(np.mean(evenness > evenness[index])),
        )
    return found


def print_table(rows: list[dict[str, tuple[float, float]]]) -> None:
    """Print one line an advice."""
    for name in DRAWS:
        off, better = np.array([row[name] for row in rows]).T
        print(
            f"{name:36} behind by {off.mean():.2f} dB on average, within 0.3 dB in "
            f"{100 * np.mean(off <= 0.3):.0f} %, better than 90 % of the places in "
            f"{100 * np.mean(better >= 0.9 - 1e-9):.0f} %"
        )


def main(n_rooms: int = 50, seed: int = 31) -> None:
    """Print the table."""
    rows = []
    for number in range(n_rooms):
        rng = np.random.default_rng([seed, number])
        case = draw_case(rng)
        places = tried_places(case)
        evenness, _ = truth(case, places, rng)
        rows.append(behind(case, places, evenness, rng))
    print(f"{n_rooms} rooms, seed {seed}")
    print_table(rows)


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
