"""When nothing should be moved yet, and gross slips that mustn't lead the search astray."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.report.survey.verdict import verdict_lines
from analysis.survey.result import evaluate_survey
from analysis.survey.survey import Survey
from benchmarks.survey_rooms import noisy, random_places, survey_of


def surveyed(seed: int, kit: str) -> Survey:
    rng = np.random.default_rng([47, seed])
    return noisy(survey_of(random_places(rng), kit), rng)


def shifted(survey: Survey, wrong: dict[str, float]) -> Survey:
    observations = tuple(
        replace(one, value=one.value + wrong.get(one.label, 0.0)) for one in survey.observations
    )
    return replace(survey, observations=observations)


@pytest.mark.parametrize("seed", [0, 2, 3])
def test_a_choice_between_alike_readings_moves_nothing(seed: int) -> None:
    # Known input: with a dozen observations a slip of 40 mm can't be told from its neighbours'.
    survey = surveyed(seed, "minimal")
    result = evaluate_survey(shifted(survey, {"head to left outer": 0.04}))
    (blunder,) = result.solution.blunders
    named = [result.solution.survey_network.observations[row].label for row in blunder.alternatives]
    named.append(result.solution.survey_network.observations[blunder.row].label)
    assert "head to left outer" in named
    assert result.doubts == ("alike",)
    assert result.plan.moves == ()
    assert not result.passes
    assert "can't tell which of the readings named below" in " ".join(verdict_lines(result))


def test_a_slip_that_is_named_alone_changes_no_move() -> None:
    # Invariant: a starter kit gives the same moves with the slip as without that observation.
    survey = surveyed(4, "tape")
    label = "head to left outer"
    wrong = evaluate_survey(shifted(survey, {label: 0.04}))
    without = evaluate_survey(
        replace(
            survey, observations=tuple(one for one in survey.observations if one.label != label)
        )
    )
    assert wrong.doubts == ()
    assert len(wrong.plan.moves) == len(without.plan.moves) > 0
    for one, other in zip(wrong.plan.moves, without.plan.moves, strict=True):
        assert one.outward_m == pytest.approx(other.outward_m, abs=1e-6)


def test_exchanged_names_and_many_slips_move_nothing() -> None:
    # Known input: the rack's ends exchanged; then five observations far off in their own ways.
    survey = surveyed(5, "tape")
    other = {"rack left": "rack right", "rack right": "rack left"}
    exchanged = tuple(
        replace(one, ends=tuple(other.get(name, name) for name in one.ends))
        for one in survey.observations
    )
    result = evaluate_survey(replace(survey, observations=exchanged))
    assert "names" in result.doubts
    assert result.plan.moves == ()
    labels = [one.label for one in survey.observations if " to wall " not in one.label]
    many = dict(zip(labels[3:23:4], (0.3, -0.25, 0.4, 0.2, -0.3), strict=True))
    result = evaluate_survey(shifted(survey, many))
    assert "many" in result.doubts
    assert result.plan.moves == ()


@pytest.mark.parametrize("seed", range(3))
def test_exchanged_lines_are_found_both(seed: int) -> None:
    # Known input: two observations of unlike places exchanged, each off by decimetres or metres.
    survey = surveyed(seed, "both")
    value = {one.label: one.value for one in survey.observations}
    pair = ("rack left to front 1", "head to seat left")
    apart = value[pair[1]] - value[pair[0]]
    result = evaluate_survey(shifted(survey, {pair[0]: apart, pair[1]: -apart}))
    found = {
        result.solution.survey_network.observations[one.row].label
        for one in result.solution.blunders
    }
    assert found >= set(pair)
    assert len(found) <= 3


def test_an_error_too_large_for_its_neighbours_is_theirs_no_more() -> None:
    # Invariant: as an error grows, the observations that may be wrong instead get fewer.
    survey = surveyed(3, "minimal")
    small, large = (
        evaluate_survey(shifted(survey, {"left inner to right inner": off})).solution.blunders[0]
        for off in (0.05, 0.5)
    )
    assert small.row == large.row
    assert set(large.alternatives) < set(small.alternatives)


def test_two_false_culprits_are_not_taken_for_one_true() -> None:
    # Known input: a dozen observations, one off by 40 cm; least squares alone blame two others.
    result = evaluate_survey(shifted(surveyed(4, "minimal"), {"head to left outer": 0.4}))
    (blunder,) = result.solution.blunders
    rows = (blunder.row, *blunder.alternatives)
    assert "head to left outer" in [
        result.solution.survey_network.observations[row].label for row in rows
    ]


@pytest.mark.parametrize("off_m", [0.1, 0.36, -0.3])
def test_a_wrong_height_is_named_and_not_what_it_bends(off_m: float) -> None:
    # Known input: one height of a starter kit off by decimetres, which tilts four distances.
    survey = surveyed(2, "tape")
    marks = tuple(
        replace(one, height=replace(one.height, value_m=one.height.value_m + off_m))
        if one.name == "rack left" and one.height is not None
        else one
        for one in survey.marks
    )
    result = evaluate_survey(replace(survey, marks=marks))
    (blunder,) = result.solution.blunders
    assert result.solution.survey_network.observations[blunder.row].label == "height of rack left"
    assert blunder.given - blunder.expected == pytest.approx(off_m, abs=0.02)
