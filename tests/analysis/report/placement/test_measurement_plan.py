"""The measurement plan in words."""

from __future__ import annotations

import pytest

from analysis.placement.measurement_plan import PlannedPlace
from analysis.report.placement.measurement_plan import measurement_plan_lines

PLANNED = (
    PlannedPlace(front_wall_m=0.4, half_spread_m=0.9, seat_m=2.6, worth_db=0.21),
    PlannedPlace(front_wall_m=1.1, half_spread_m=0.9, seat_m=2.6, worth_db=0.284),
)


def test_a_plan_says_where_and_what_for() -> None:
    # Known input: the worth of all of them, not of the last alone.
    said = " ".join(" ".join(measurement_plan_lines(PLANNED, n_measured=0, regret_db=0.42)).split())
    assert "miss the best one by 0.4 dB" in said
    assert "1. loudspeakers 0.40 m from the front wall, each 0.90 m off the centre" in said
    assert "2. loudspeakers 1.10 m" in said
    assert "0.28 dB evener" in said
    assert "Slide, don't lift, and have a second person" in said


@pytest.mark.parametrize(
    ("n_measured", "expected"),
    [(2, "No further place would change the advice by 0.05 dB"), (5, "5 readings were made")],
)
def test_a_plan_ends_and_says_why(n_measured: int, expected: str) -> None:
    # Known input: nothing is worth its while; as many were made as a plan takes.
    said = " ".join(
        " ".join(measurement_plan_lines((), n_measured=n_measured, regret_db=0.1)).split()
    )
    assert expected in said
    assert "expected to miss the best one by 0.1 dB" in said
    assert said.endswith("The walk is done.")
