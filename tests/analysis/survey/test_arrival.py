"""Sound against tape: agreement, a microphone beside the head, and a slip that could be."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.survey.arrival import compare_arrival
from analysis.survey.solution import solve_survey
from analysis.survey.triangle import survey_triangle
from benchmarks.survey_rooms import random_places, survey_of

AT = random_places(np.random.default_rng([6, 1]))
SURVEY = survey_of(AT, "minimal")


def difference_m(head: np.ndarray) -> float:
    left, right = (float(np.linalg.norm(AT[f"{s} tweeter"] - head)) for s in ("left", "right"))
    return left - right


def test_they_agree_where_they_should() -> None:
    # Known input: the true difference, known to a millimetre.
    solution = solve_survey(SURVEY)
    triangle = survey_triangle(solution)
    found = compare_arrival(solution, triangle, sound_m=difference_m(AT["head"]), sound_std_m=1e-3)
    assert found is not None
    assert found.agrees
    assert found.disagreement_m == pytest.approx(0, abs=1e-6)
    std = triangle.distance_m.left_minus_right.std
    assert std is not None
    assert found.std_m == pytest.approx(math.hypot(1e-3, std))
    assert found.suspects == ()


def test_a_microphone_beside_the_head_is_found_out() -> None:
    # Known input: the microphone 12 mm to the right of the surveyed head.
    solution = solve_survey(SURVEY)
    found = compare_arrival(
        solution,
        survey_triangle(solution),
        sound_m=difference_m(AT["head"] + [0.012, 0, 0]),
        sound_std_m=1e-3,
    )
    assert found is not None
    assert not found.agrees
    assert found.microphone_right_m == pytest.approx(0.012, abs=2e-4)


def test_a_slip_that_hides_is_among_the_suspects() -> None:
    # Known input: an observation that the others check little is wrong by 9 mm; the sound knows.
    wrong = "head to right inner"
    survey = replace(
        SURVEY,
        observations=tuple(
            replace(one, value=one.value + 0.009) if one.label == wrong else one
            for one in SURVEY.observations
        ),
    )
    solution = solve_survey(survey)
    assert solution.blunders == ()
    found = compare_arrival(
        solution, survey_triangle(solution), sound_m=difference_m(AT["head"]), sound_std_m=5e-4
    )
    assert found is not None
    suspects = {one.label: one for one in found.suspects}
    assert wrong in suspects
    true_m = float(np.linalg.norm(AT["head"] - AT["right inner"]))
    assert suspects[wrong].would_be_m == pytest.approx(true_m, abs=2e-3)


def test_without_distances_there_is_nothing_to_compare() -> None:
    solution = solve_survey(replace(SURVEY, observations=()))
    triangle = survey_triangle(solution)
    assert compare_arrival(solution, triangle, sound_m=0.0, sound_std_m=1e-3) is None
