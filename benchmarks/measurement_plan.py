"""How the advice gets better from place to place of a plan, and whether it ends in time.

    python -m benchmarks.measurement_plan [rooms] [seed]

Truth and file as in `benchmarks.placement`. Each room's plan is followed to the end whatever the
program says: after every reading the fit, the advice and the places that are left are computed
anew, and the next reading is made at the first of them. Printed is how much less even the advised
place truly is than the best one after each number of readings, what the program itself expected,
how often it said that no further place would change the advice, and what ending there costs.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from analysis.placement.choice import WITHIN_DB
from analysis.placement.measurement_plan import (
    FEWEST_PLACES,
    MOST_PLACES,
    PlannedPlace,
    expected_regret_db,
    plan_measurements,
)
from analysis.placement.places import Places
from benchmarks.placement import (
    Case,
    Float,
    Rng,
    advice,
    draw_case,
    reading_at,
    tried_places,
    true_evenness,
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """The advice after so many readings."""

    behind_db: float
    said_behind_db: float
    holds_percent: float
    n_left: int


def index_of(places: Places, place: PlannedPlace) -> int:
    """Return which of all places a planned one is."""
    away = np.abs(places.front_wall_m - place.front_wall_m) + np.abs(places.seat_m - place.seat_m)
    return int(np.argmin(away))


def follow_plan(case: Case, places: Places, evenness: Float, levels: Float, rng: Rng) -> list[Step]:
    """Return the steps of one plan, from no reading to the most."""
    readings, steps = [], []
    for count in range(MOST_PLACES + 1):
        found = advice(case, places, readings, rng)
        placement = found.placement
        fewest = max(FEWEST_PLACES - count, 0)
        planned = plan_measurements(
            placement, found.rooms, n_most=MOST_PLACES - count, n_fewest=fewest
        )
        steps.append(
            Step(
                behind_db=float(evenness[found.index] - evenness.min()),
                said_behind_db=expected_regret_db(placement),
                holds_percent=placement.choices[0].holds_percent,
                n_left=len(planned),
            )
        )
        # Where the program would end, go on as if it had to.
        onward = planned or plan_measurements(placement, found.rooms, n_most=1, n_fewest=1)
        readings.append(reading_at(places, levels, index_of(places, onward[0]), rng))
    return steps


def print_steps(runs: list[list[Step]]) -> None:
    """Print the table."""
    print(
        f"{'readings':>8}{'behind, mean':>14}{'most':>9}{'within 0.3 dB':>15}{'said behind':>13}"
        f"{'said to hold':>14}{'held':>7}{'ended':>7}{'more planned':>14}"
    )
    for count in range(MOST_PLACES + 1):
        row = [steps[count] for steps in runs]
        behind = np.array([one.behind_db for one in row])
        ended = [count >= FEWEST_PLACES and one.n_left == 0 for one in row]
        print(
            f"{count:8}{behind.mean():11.2f} dB{behind.max():6.2f} dB"
            f"{100 * np.mean(behind <= 0.3):13.0f} %"
            f"{np.mean([one.said_behind_db for one in row]):10.2f} dB"
            f"{np.mean([one.holds_percent for one in row]):12.0f} %"
            f"{100 * np.mean(behind <= WITHIN_DB):5.0f} %{100 * np.mean(ended):5.0f} %"
            f"{np.mean([one.n_left for one in row]):14.1f}"
        )
    ends = [
        next(k for k, one in enumerate(steps) if k >= FEWEST_PLACES and one.n_left == 0)
        for steps in runs
    ]
    at_end = np.array([steps[k].behind_db for steps, k in zip(runs, ends, strict=True)])
    best = np.array([steps[-1].behind_db for steps in runs])
    print(
        f"ended after {np.mean(ends):.1f} readings on average: behind by {at_end.mean():.2f} dB "
        f"there, by {best.mean():.2f} dB after all {MOST_PLACES}"
    )


def main(n_rooms: int = 12, seed: int = 7) -> None:
    """Follow the plans and print."""
    runs = []
    for number in range(n_rooms):
        rng = np.random.default_rng([seed, number])
        case = draw_case(rng)
        places = tried_places(case)
        evenness, levels = true_evenness(case, places, rng)
        runs.append(follow_plan(case, places, evenness, levels, rng))
    print(f"{n_rooms} rooms, seed {seed}")
    print_steps(runs)


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
