"""The words of a survey, against what was planted in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.report.format import WIDTH
from analysis.report.reading.verdict_part import LIFTING
from analysis.report.survey.tables import figure_lines, reliability_lines, wall_lines
from analysis.report.survey.verdict import (
    arrival_lines,
    blunder_text,
    misfit_lines,
    move_lines,
    verdict_lines,
)
from analysis.survey.arrival import compare_arrival
from analysis.survey.result import SurveyResult, evaluate_survey
from analysis.survey.survey import Survey
from benchmarks.survey_rooms import noisy, random_places, survey_of

AT = random_places(np.random.default_rng([9, 1]))
CLEAN = survey_of(AT, "laser")


def wrong(survey: Survey, label: str, value_m: float) -> Survey:
    observations = tuple(
        replace(one, value=value_m) if one.label == label else one for one in survey.observations
    )
    return replace(survey, observations=observations)


@pytest.fixture(scope="module")
def result() -> SurveyResult:
    return evaluate_survey(noisy(CLEAN, np.random.default_rng(1)))


def test_the_verdict_comes_first_with_the_right_side(result: SurveyResult) -> None:
    # Second method: distances of the true places.
    true = {
        side: float(np.linalg.norm(AT[f"{side} tweeter"] - AT["head"]))
        for side in ("left", "right")
    }
    nearer = min(true, key=true.__getitem__)
    (first, *_) = verdict_lines(result)
    assert first.startswith(f"The {nearer} loudspeaker is")
    assert "nearer to the head" in " ".join(verdict_lines(result))


def test_an_exchange_of_digits_is_named(result: SurveyResult) -> None:
    # Known input: an observation whose last two digits change places, by more than its sigmas show.
    one = next(r for r in CLEAN.observations if r.label == "rack left to left inner")
    digits = f"{round(one.value * 1000) // 100}19"
    slipped = f"{digits[:-2]}91"
    survey = wrong(CLEAN, one.label, int(slipped) / 1000)
    found = evaluate_survey(survey)
    text = blunder_text(
        found.solution.blunders[0],
        found.solution.survey_network.observations,
        lines={one.label: 12},
    )
    assert text.startswith(f"{one.label} (line 12): {slipped} mm does not fit the others; ")
    assert "would" in text
    assert misfit_lines(result, lines={}) == []


def test_what_is_open_is_said_and_nothing_passes() -> None:
    survey = replace(CLEAN, observations=())
    found = evaluate_survey(survey)
    text = " ".join(verdict_lines(found))
    assert "don't fix both distances" in text
    assert "passes" not in text
    assert any(line.startswith("Nothing fixes where") for line in misfit_lines(found, lines={}))


def test_scatter_beyond_the_instruments_is_said() -> None:
    # Known input: three times the stated noise on every observation.
    rng = np.random.default_rng(5)
    observations = tuple(
        replace(one, value=one.value + 3 * one.std * rng.standard_normal())
        for one in CLEAN.observations
    )
    factor = evaluate_survey(replace(CLEAN, observations=observations))
    if not factor.solution.blunders:
        assert any("scatter" in line for line in misfit_lines(factor, lines={}))
    assert factor.solution.blunders or factor.solution.adjusted.variance_factor


def test_every_move_names_its_sense_and_what_the_tape_reads(result: SurveyResult) -> None:
    text = "\n".join(move_lines(result))
    for words in ("Slide the left loudspeaker", "Turn the right loudspeaker", "Check:", "→"):
        assert words in text
    assert LIFTING in " ".join(text.split())
    assert "Never look into the laser" in text
    assert all(len(line) <= WIDTH for line in move_lines(result))
    after = evaluate_survey(CLEAN)
    assert move_lines(replace(after, plan=replace(after.plan, moves=()))) == []


def test_each_move_says_how_well_its_start_is_known(result: SurveyResult) -> None:
    # Second method: the sigma of the place by the adjustment's covariance; of an edge, by
    # turning the cabinet two sigmas' worth about its pivot.
    text = "\n".join(move_lines(result))
    assert text.count(" ± ") >= len(result.plan.moves) - 1
    for move in result.plan.moves:
        if move.kind == "slide":
            place = result.solution.place_covariance(f"{move.what} tweeter")
            assert move.outward_std_m == pytest.approx(np.sqrt(place[0, 0]))
            assert move.toward_wall_std_m == pytest.approx(np.sqrt(place[1, 1]))
        if move.kind == "turn":
            ratio = move.edge_m / move.turn_rad
            assert move.edge_std_m == pytest.approx(abs(ratio) * move.turn_std_rad, rel=0.01)
            assert move.turn_std_rad > 0


def test_the_figures_are_those_of_the_result(result: SurveyResult) -> None:
    text = "\n".join(figure_lines(result))
    value = result.triangle.distance_m.left.value
    assert value is not None
    assert f"{value * 1000:.0f} mm" in text
    assert "toe-in" in text
    assert [line.split()[0] for line in wall_lines(result)[1:5]] == [
        "front",
        "left",
        "right",
        "rear",
    ]
    trust = "\n".join(reliability_lines(result))
    assert f"{result.solution.adjusted.degrees_of_freedom} more than needed" in trust
    assert "seat left to wall rear: add" in trust


def test_sound_is_said_beside_tape(result: SurveyResult) -> None:
    # Known input: agreement, then 15 mm apart.
    surveyed = result.triangle.distance_m.left_minus_right.value
    assert surveyed is not None
    for shift_m, words in ((0.0, "They agree"), (0.015, "to the right of the surveyed head")):
        found = compare_arrival(
            result.solution, result.triangle, sound_m=surveyed + shift_m, sound_std_m=1e-3
        )
        assert found is not None
        assert words in " ".join(" ".join(arrival_lines(found)).split())


def test_nothing_is_moved_on_readings_that_contradict_each_other() -> None:
    # Known input: twelve distances, one of them wrong, and what could check it left out.
    survey = survey_of(AT, "minimal")
    kept = tuple(
        one
        for one in survey.observations
        if one.label not in ("left inner to right inner", "rack right to right inner")
    )
    cabinets = {side: replace(box, width_std_m=None) for side, box in survey.cabinets.items()}
    first = evaluate_survey(replace(survey, observations=kept, cabinets=cabinets))
    assert first.solution.adjusted.degrees_of_freedom == 0
    kept = (*kept, replace(kept[0], label="again", value=kept[0].value + 0.2))
    result = evaluate_survey(replace(survey, observations=kept, cabinets=cabinets))
    assert result.solution.is_contradictory
    assert not result.passes
    assert result.plan.moves == ()
    verdict = " ".join(verdict_lines(result))
    assert "Move nothing yet: the readings contradict each other" in " ".join(verdict.split())
