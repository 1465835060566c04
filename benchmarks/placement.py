r"""How good the advised place is in simulated rooms whose truth the program doesn't know.

    python -m benchmarks.placement [rooms] [seed] [readings]

Truth: image-source rooms (`benchmarks.image_sources`, itself held against
pyroomacoustics by the tests) with unequal absorption that changes with frequency: responses
with the absorption of 63 Hz and that of 250 Hz are blended over the octaves between. The user's
file has tape errors of 5 mm (places) and 10 mm (sides), and knows neither absorption nor
temperature. With readings, so many were made of the pair moved from the wall, with 0.5 dB of
noise in each band. Rules of thumb stand beside: common practice, no source or second-hand.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.placement.band_levels import FREQUENCY_HZ, band_levels_db, deviations_from_line_db
from analysis.placement.choice import MODEL_ERROR_DB, WITHIN_DB, Placement, choose_places
from analysis.placement.fit.room_fit import MeasuredPlace, fit_room
from analysis.placement.monte_carlo import DrawnRoom, draw_rooms, likeliest_offsets
from analysis.placement.places import Places, allowed_places, front_wall_y_m
from analysis.placement.response.room_response import room_model
from analysis.room.room import SURFACES, Loudspeaker, Point, Positions, Room, rectangular_room
from benchmarks.image_sources import image_pressure

Float = NDArray[np.float64]
Rng = np.random.Generator

POSITION_ERROR_M = 0.005
SIZE_ERROR_M = 0.010
NOISE_DB = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """A room and what its owner says of it."""

    low: Room
    high: Room
    told: Room
    true_speed_m_s: float
    positions: Positions


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Advice:
    """What the program says, and the rooms in which it judged."""

    placement: Placement
    rooms: tuple[DrawnRoom, ...]

    @property
    def index(self) -> int:
        """The advised place."""
        return self.placement.choices[0].index


def draw_absorption(rng: Rng) -> tuple[Float, Float]:
    """Return the absorption of the six surfaces at 63 Hz and at 250 Hz."""
    low = rng.uniform(0.05, 0.4, 6)
    return low, np.clip(low * rng.uniform(0.5, 2.0, 6), 0.03, 0.6)


def draw_case(rng: Rng) -> Case:
    """Return a living room with unequal absorption that changes with frequency."""
    size = [rng.uniform(4.2, 7.0), rng.uniform(3.4, 5.2), rng.uniform(2.3, 2.9)]
    low, high = draw_absorption(rng)
    rooms = [
        rectangular_room(
            length_m=size[0],
            width_m=size[1],
            height_m=size[2],
            absorption=dict(zip(SURFACES, kept.tolist(), strict=True)),
        )
        for kept in (low, high)
    ]
    told = [side + SIZE_ERROR_M * rng.standard_normal() for side in size]
    centre = 0.5 * size[1] + rng.uniform(-0.15, 0.15)
    spread = rng.uniform(0.8, min(1.2, centre - 0.5))
    woofer, tweeter, ear = rng.uniform(0.35, 0.8), rng.uniform(0.8, 1.1), rng.uniform(0.95, 1.2)
    left, right = (
        Loudspeaker(tweeter=Point(x_m=centre + x, y_m=0.8, z_m=tweeter), woofer_z_m=woofer)
        for x in (-spread, spread)
    )
    seat = Point(x_m=centre, y_m=0.8 + spread / np.tan(np.radians(28)), z_m=ear)
    return Case(
        low=rooms[0],
        high=rooms[1],
        told=rectangular_room(length_m=told[0], width_m=told[1], height_m=told[2]),
        true_speed_m_s=rng.uniform(341.5, 346.0),
        positions=Positions(left=left, right=right, seat=seat),
    )


def true_levels(case: Case, source: Float, seat: Float) -> NDArray[np.complex128]:
    """Return the true pressure at `FREQUENCY_HZ`."""
    share = np.clip(np.log2(FREQUENCY_HZ / 63) / 2, 0, 1)
    ends = [
        image_pressure(
            room,
            Point(x_m=source[0], y_m=source[1], z_m=source[2]),
            Point(x_m=seat[0], y_m=seat[1], z_m=seat[2]),
            FREQUENCY_HZ,
            speed_of_sound_m_s=case.true_speed_m_s,
            duration_s=0.6,
        )
        for room in (case.low, case.high)
    ]
    return 4 * np.pi * ((1 - share) * ends[0] + share * ends[1])


def tried_places(case: Case) -> Places:
    """Return front distances and seats that are allowed at the spread as it stands."""
    spread_m = 0.5 * (case.positions.right.tweeter.x_m - case.positions.left.tweeter.x_m)
    seat_m = case.positions.seat.y_m
    return allowed_places(
        case.told,
        case.positions,
        front_m=np.round(np.arange(0.35, 0.4 * case.told.length_m, 0.1), 3),
        spread_m=np.array([spread_m]),
        seat_m=np.round(seat_m + np.arange(-0.4, 0.41, 0.2), 3),
    )


def true_evenness(case: Case, places: Places, rng: Rng) -> tuple[Float, Float]:
    """Return the true evenness of each place, and the levels of left and right there."""
    levels = np.empty((2, 19, places.n_places))
    evenness = np.empty(places.n_places)
    shift = POSITION_ERROR_M * rng.standard_normal((3, 3))
    for k in range(places.n_places):
        left, right = (
            true_levels(case, side[k] + shift[i], places.listener_m[k] + shift[2])
            for i, side in enumerate((places.left_m, places.right_m))
        )
        levels[0, :, k] = band_levels_db(np.abs(left) ** 2)
        levels[1, :, k] = band_levels_db(np.abs(right) ** 2)
        off = deviations_from_line_db(band_levels_db(np.abs(left + right) ** 2))
        evenness[k] = np.sqrt(np.mean(off**2))
    return evenness, levels


def advice(case: Case, places: Places, readings: Sequence[MeasuredPlace], rng: Rng) -> Advice:
    """Return what the program advises after some readings."""
    model = room_model(case.told, 300, speed_of_sound_m_s=343.2)
    fit = fit_room(model, readings) if readings else None
    rooms = draw_rooms(model, rng, fit=fit)
    placement = choose_places(
        model,
        places,
        rng=rng,
        offsets=likeliest_offsets(fit),
        rooms=rooms,
        trusted=None if fit is None else fit.trusted,
        model_error_db=fit.model_error_db if fit and fit.model_error_db else MODEL_ERROR_DB,
    )
    return Advice(placement=placement, rooms=rooms)


def reading_at(places: Places, levels: Float, k: int, rng: Rng) -> MeasuredPlace:
    """Return a reading made at a place."""
    return MeasuredPlace(
        left_m=places.left_m[k],
        right_m=places.right_m[k],
        seat_m=places.listener_m[k],
        left_db=levels[0, :, k] + NOISE_DB * rng.standard_normal(19),
        right_db=levels[1, :, k] + NOISE_DB * rng.standard_normal(19),
    )


def even_readings(
    case: Case, places: Places, levels: Float, count: int, rng: Rng
) -> list[MeasuredPlace]:
    """Return so many readings of the pair moved from the wall, at the seat of today."""
    nearest = np.argmin(np.abs(places.seat_m - case.positions.seat.y_m))
    row = np.flatnonzero(places.seat_m == places.seat_m[nearest])
    at = row[np.round(np.linspace(0, row.size - 1, count)).astype(int)]
    return [reading_at(places, levels, int(k), rng) for k in np.unique(at)]


RULES = {
    "a third of the length": (1 / 3, None),
    "a fifth of the length": (1 / 5, None),
    "head at 38 % from the front": (None, 0.38),
    "head at 62 % from the front": (None, 0.62),
}


def by_rule(case: Case, places: Places, rule: tuple[float | None, float | None]) -> int:
    """Return the allowed place nearest to a rule of thumb; what it doesn't say stays."""
    line_m = front_wall_y_m(case.told.plan)
    length_m = case.told.length_m
    front = case.positions.left.tweeter.y_m if rule[0] is None else rule[0] * length_m
    seat = case.positions.seat.y_m if rule[1] is None else rule[1] * length_m
    away = np.abs(places.front_wall_m + line_m - front) + np.abs(places.seat_m + line_m - seat)
    return int(np.argmin(away))


@dataclass(frozen=True, kw_only=True, slots=True)
class Score:
    """How a place compares in truth."""

    behind_db: float
    better_than: float
    said_percent: float | None = None


def score(evenness: Float, index: int, said_percent: float | None = None) -> Score:
    """Return how much less even a place is than the best, and what share it beats."""
    return Score(
        behind_db=float(evenness[index] - evenness.min()),
        better_than=float(np.mean(evenness > evenness[index])),
        said_percent=said_percent,
    )


def scores(number: int, seed: int, n_readings: int) -> dict[str, Score]:
    """Return how advice and rules do in one room."""
    rng = np.random.default_rng([seed, number])
    case = draw_case(rng)
    places = tried_places(case)
    evenness, levels = true_evenness(case, places, rng)
    found = {}
    for count in dict.fromkeys((0, n_readings)):
        readings = even_readings(case, places, levels, count, rng) if count else []
        first = advice(case, places, readings, rng).placement.choices[0]
        found[f"advised, {count} readings"] = score(evenness, first.index, first.holds_percent)
    for name, rule in (RULES | {"today": (None, None)}).items():
        found[name] = score(evenness, by_rule(case, places, rule))
    mean_db = float(evenness.mean() - evenness.min())
    return found | {"any place (mean)": Score(behind_db=mean_db, better_than=0.5)}


def print_table(rows: list[dict[str, Score]]) -> None:
    """Print one line an advice or rule."""
    print(f"{'':32}{'median':>9}{'mean':>9}{'within 0.3 dB':>15}{'better than 90 %':>18}")
    for name in rows[0]:
        behind = np.array([row[name].behind_db for row in rows])
        better = np.array([row[name].better_than for row in rows])
        print(
            f"{name:32}{np.median(behind):6.2f} dB{behind.mean():6.2f} dB"
            f"{100 * np.mean(behind <= 0.3):13.0f} %{100 * np.mean(better >= 0.9 - 1e-9):16.0f} %"
        )


def print_holds(rows: list[dict[str, Score]]) -> None:
    """Print how often choices were said to hold, and did, by what was said."""
    for name in (one for one in rows[0] if rows[0][one].said_percent is not None):
        said = np.array([row[name].said_percent for row in rows], dtype=float)
        held = np.array([row[name].behind_db <= WITHIN_DB for row in rows])
        for low, high in ((0, 101), *SAID_GROUPS):
            group = (said >= low) & (said < high)
            if group.any():
                print(
                    f"{name}, said {low} to {min(high, 100)} %: {group.sum()} rooms, within "
                    f"{WITHIN_DB:g} dB said in {said[group].mean():.0f} %, true in "
                    f"{100 * held[group].mean():.0f} %"
                )


SAID_GROUPS = ((0, 80), (80, 95), (95, 101))


def main(n_rooms: int = 50, seed: int = 7, n_readings: int = 5) -> None:
    """Print the table, and said against true."""
    rows = [scores(number, seed, n_readings) for number in range(n_rooms)]
    print(f"{n_rooms} rooms, seed {seed}")
    print_table(rows)
    print_holds(rows)


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
