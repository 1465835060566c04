"""Walls against closed forms: distances, skew, corners and bends of drawn rooms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.survey.solution import solve_survey
from analysis.survey.survey import Height, Mark, Observation
from analysis.survey.walls import cabinet_corners, survey_walls
from benchmarks.survey_rooms import random_places, survey_of


def flat_room() -> dict[str, np.ndarray]:
    """Return a room with a bent front wall and a left wall that runs askew."""
    at = random_places(np.random.default_rng(2))
    for k, (x, y) in enumerate(((-2.0, -1.0), (0.0, -0.97), (2.0, -1.0)), start=1):
        at[f"front {k}"] = np.array([x, y, 0.9])
    at["left wall a"], at["left wall b"] = np.array([-2.0, 0, 0]), np.array([-2.1, 2.0, 0])
    at["right wall a"], at["right wall b"] = np.array([2.5, 0, 0]), np.array([2.5, 2.0, 0])
    at["rear wall a"], at["rear wall b"] = np.array([-1.0, 5, 0]), np.array([1.0, 5, 0])
    return at


def test_distances_skew_corners_and_bend() -> None:
    # Closed form: distances of points from lines; atan(0.1 / 2) of skew; a bend of 30 mm whose
    # middle mark lies 20 mm from the straight line that fits best, the ends 10 mm.
    at = flat_room()
    walls = survey_walls(solve_survey(survey_of(at, "both")))
    shapes = {one.wall: one for one in walls.shapes}
    skew = math.atan(0.05)
    assert shapes["left"].skew_rad.value == pytest.approx(-skew, abs=1e-6)
    assert shapes["right"].skew_rad.value == pytest.approx(0, abs=1e-6)
    assert shapes["front"].skew_rad.value == pytest.approx(0, abs=1e-6)
    assert shapes["front"].bend_mark == "front 2"
    bend = shapes["front"].bend_m
    assert bend is not None
    assert bend.value == pytest.approx(0.02, abs=1e-6)
    assert shapes["rear"].bend_m is None
    # The left wall runs away from the centre line toward the rear: the front corner opens.
    assert walls.corners_rad["front", "left"].value == pytest.approx(skew, abs=1e-6)
    assert walls.corners_rad["rear", "left"].value == pytest.approx(-skew, abs=1e-6)
    assert walls.corners_rad["rear", "right"].value == pytest.approx(0, abs=1e-6)
    left = {one.wall: one for one in walls.cabinets["left"]}
    tweeter = at["left tweeter"]
    from_line = (tweeter[0] + 2.0 + 0.05 * tweeter[1]) * math.cos(skew)
    assert left["left"].reference_m.value == pytest.approx(from_line, abs=1e-6)
    assert left["rear"].reference_m.value == pytest.approx(5 - tweeter[1], abs=1e-6)
    # To the front the nearest part counts: from (-2, -1) to (0, -0.97).
    part = math.atan(0.03 / 2)
    to_front = (tweeter[1] + 1.0 - 0.015 * (tweeter[0] + 2.0)) * math.cos(part)
    assert left["front"].reference_m.value == pytest.approx(to_front, abs=1e-6)
    head = {one.wall: one.reference_m for one in walls.head}
    assert head["right"].value == pytest.approx(2.5, abs=1e-6)


def test_the_gap_is_that_of_the_nearest_corner() -> None:
    # Closed form: the corners of a turned box; the rear outer one is nearest to the side wall
    # or the front outer one, whichever is.
    at = flat_room()
    solution = solve_survey(survey_of(at, "both"))
    corners = cabinet_corners(
        solution.adjusted.positions_m, solution.survey_network.node, "right", 0.3
    )
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    width = np.linalg.norm(at["right inner"] - at["right outer"])
    assert sides == pytest.approx([width, 0.3, width, 0.3], abs=1e-6)
    right = {one.wall: one for one in survey_walls(solution).cabinets["right"]}
    gap = right["right"].gap_m
    assert gap is not None
    assert gap.value == pytest.approx(2.5 - corners[:, 0].max(), abs=1e-6)
    behind = right["front"].gap_m
    assert behind is not None
    assert behind.value_and_std[0] < right["front"].reference_m.value_and_std[0]


def test_a_wall_that_no_reading_reaches_has_no_distances() -> None:
    # Known input: walls named without an observation to them.
    survey = survey_of(flat_room(), "tape")
    kept = tuple(one for one in survey.observations if "wall rear" not in one.label)
    solution = solve_survey(replace(survey, observations=kept))
    assert "nothing fixes where the rear wall stands and how it runs" in solution.undetermined
    rear = next(one for one in survey_walls(solution).head if one.wall == "rear")
    assert rear.reference_m.value is None


def test_a_wall_with_one_mark_is_straight_and_goes_through_it() -> None:
    # Known input: a wall known by one mark on it and one observation square to it.
    at = flat_room()
    survey = survey_of(at, "tape")
    door = np.array([0.4, 5.0, 0.8])
    marks = (*survey.marks, Mark(name="door", height=Height(value_m=0.8, std_m=1e-3)))
    more = tuple(
        Observation(
            label=f"door to {name}",
            kind="distance",
            ends=("door", name),
            value=float(np.linalg.norm(door - at[name])),
            std=1e-3,
            instrument="tape",
        )
        for name in ("head", "seat left", "seat right")
    )
    kept = tuple(one for one in survey.observations if one.label != "seat right to wall rear")
    walls = tuple(
        replace(wall, marks=("door",)) if wall.name == "rear" else wall for wall in survey.walls
    )
    solution = solve_survey(replace(survey, marks=marks, walls=walls, observations=(*kept, *more)))
    assert solution.undetermined == ()
    head = {one.wall: one.reference_m for one in survey_walls(solution).head}
    assert head["rear"].value == pytest.approx(5 - at["head"][1], abs=1e-5)
