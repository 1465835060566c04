"""Targets and moves: where the pair ends up, what the tape must read, and in which order."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.report.survey.verdict import verdict_lines
from analysis.survey.moves.moves import Move
from analysis.survey.moves.target import Target
from analysis.survey.result import SurveyResult, evaluate_survey
from analysis.survey.survey import Survey
from analysis.survey.triangle import triangle_quantities
from benchmarks.survey_rooms import random_places, survey_of

SURVEY = survey_of(random_places(np.random.default_rng([3, 1])), "both")


def after(result: SurveyResult) -> dict[str, float]:
    """Return the triangle where the moves lead."""
    found = triangle_quantities(result.plan.positions_m, result.solution.survey_network.node)
    return {name: float(value) for name, value in found.items()}


@pytest.mark.parametrize(
    "target",
    [
        Target(),
        Target(base_angle_deg=60),
        Target(front_wall_m=1.1),
        Target(base_angle_deg=50, front_wall_m=0.9, aim_deg=2.0),
        Target(toe_in_deg=20),
    ],
)
def test_the_moves_reach_the_target(target: Target) -> None:
    # Invariant: afterwards the pair is symmetric and equal, and what was asked for holds.
    result = evaluate_survey(SURVEY, target)
    found = after(result)
    for name in ("offset", "toe_in", "distance"):
        assert found[f"{name}.left_minus_right"] == pytest.approx(0, abs=1e-9)
    goal = result.plan.goal
    assert goal is not None
    assert found["depth.left_minus_right"] == pytest.approx(goal.depths_apart_m, abs=1e-9)
    if target.base_angle_deg:
        assert math.degrees(found["apex_angle"]) == pytest.approx(target.base_angle_deg, abs=0.01)
    if target.toe_in_deg:
        assert math.degrees(found["toe_in.left"]) == pytest.approx(target.toe_in_deg)
    if target.aim_deg:
        aims = [math.degrees(found[f"aim.{side}"]) for side in ("left", "right")]
        assert np.mean(aims) == pytest.approx(target.aim_deg, abs=0.01)
        assert aims[0] == pytest.approx(aims[1], abs=0.1)
    if target.front_wall_m:
        moved = walls_after(result)
        assert moved == pytest.approx(target.front_wall_m, abs=1e-6)


def walls_after(result: SurveyResult) -> float:
    """Return the mean distance of the moved reference points from their part of the wall."""
    places = result.plan.positions_m
    marks = [places[result.solution.survey_network.node[f"front {k}"], :2] for k in (1, 2, 3)]
    found = []
    for side, (a, b) in (("left", marks[:2]), ("right", marks[1:])):
        away = places[result.solution.survey_network.node[f"{side} tweeter"], :2] - a
        line = b - a
        found.append(abs(line[0] * away[1] - line[1] * away[0]) / float(np.hypot(*line)))
    return float(np.mean(found))


@pytest.mark.parametrize("seed", range(4))
def test_distances_end_equal_with_uneven_tweeters_and_a_head_beside_the_line(seed: int) -> None:
    # Known input: one tweeter 70 mm higher, the head 3 mm beside a line that it doesn't define.
    # Invariant: the distances end equal, and a second survey asks for nothing more.
    at = random_places(np.random.default_rng([3, 20 + seed]))
    for part in ("inner", "outer", "tweeter"):
        at[f"right {part}"] = at[f"right {part}"] + [0, 0, 0.07]
    at["rack left"], at["rack right"] = np.array([-0.5, 0, 0.5]), np.array([0.5, 0, 0.4])
    at["head"] = at["head"] + [0.003, 0, 0]
    survey = survey_of(at, "tape")
    line = replace(survey.line, ahead=None)
    result = evaluate_survey(replace(survey, line=line))
    assert after(result)["distance.left_minus_right"] == pytest.approx(0, abs=1e-9)
    survey_network = result.solution.survey_network
    moved = {name: result.plan.positions_m[k] for name, k in survey_network.node.items()}
    second = evaluate_survey(replace(survey_of(moved, "tape"), line=line))
    assert second.passes
    assert second.plan.moves == ()
    assert {one.name: one.verdict for one in second.criteria}["depth"] == "passes"
    said = " ".join(verdict_lines(result))
    assert "For equal distances the " in said
    assert "the right tweeter stands" in said


def test_the_least_movement_is_the_mean_of_both_sides() -> None:
    # Closed form: the symmetric place that moves both least is the mean; no other is nearer.
    result = evaluate_survey(SURVEY)
    goal = result.plan.goal
    assert goal is not None
    offsets = [result.triangle.offset_m.of(s).value_and_std[0] for s in ("left", "right")]
    assert goal.offset_m == pytest.approx(np.mean(offsets))


def test_each_step_says_what_the_tape_reads_then() -> None:
    # Second method: walk the steps by hand and measure between the moved points.
    result = evaluate_survey(SURVEY, Target(base_angle_deg=60))
    survey_network = result.solution.survey_network
    places = result.solution.adjusted.positions_m.copy()
    for move in result.plan.moves:
        if move.kind == "check":
            continue
        outward = -1.0 if move.what == "left" else 1.0
        nodes = [
            survey_network.node[f"{move.what} {part}"] for part in ("inner", "outer", "tweeter")
        ]
        if move.kind == "slide":
            places[nodes, 0] += outward * move.outward_m
            places[nodes, 1] -= move.toward_wall_m
        else:
            pivot = places[nodes[0], :2]
            angle = outward * move.turn_rad
            away = places[nodes, :2] - pivot
            turn = np.array(
                [[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]]
            )
            edge = places[nodes[1], 1]
            places[nodes, :2] = away @ turn + pivot
            assert move.edge == "outer"
            assert move.edge_m == pytest.approx(places[nodes[1], 1] - edge)
        for side, said in zip(("left", "right"), move.distance_m, strict=True):
            away = (
                places[survey_network.node[f"{side} tweeter"]] - places[survey_network.node["head"]]
            )
            assert said == pytest.approx(float(np.linalg.norm(away)), abs=1e-9)
        for one in move.observations:
            if one.kind == "distance":
                a, b = (places[survey_network.node[name]] for name in one.label.split(" to "))
                assert one.after == pytest.approx(float(np.linalg.norm(a - b)), abs=1e-9)
        assert len(move.observations) >= 4
    assert places == pytest.approx(result.plan.positions_m, abs=1e-9)


def first_of(moves: tuple[Move, ...], side: str) -> list[Move]:
    return [one for one in moves if one.what == side]


def test_what_disturbs_the_distance_more_comes_first_and_a_check_last() -> None:
    # Known input: a turn of 10 degrees and a slide of a few millimetres; then the reverse.
    at = random_places(np.random.default_rng([3, 2]))
    mirror = np.array([-1.0, 1.0, 1.0])
    for part in ("inner", "outer", "tweeter"):
        at[f"right {part}"] = at[f"left {part}"] * mirror
    turned, slid = dict(at), dict(at)
    angle = math.radians(10)
    turn = np.array(
        [[math.cos(angle), -math.sin(angle), 0], [math.sin(angle), math.cos(angle), 0], [0, 0, 1]]
    )
    for part in ("inner", "outer", "tweeter"):
        about = at["left tweeter"]
        turned[f"left {part}"] = turn @ (at[f"left {part}"] - about) + about
        slid[f"left {part}"] = turned[f"left {part}"] + [0, 0.12, 0]
    for places, first in ((turned, "turn"), (slid, "slide")):
        result = evaluate_survey(survey_of(places, "tape"))
        moves = result.plan.moves
        steps = first_of(moves, "left")
        assert steps[0].kind == first
        assert {one.kind for one in steps} == {"turn", "slide"}
        assert moves[-1].kind == "check"
        left, right = moves[-1].observations
        assert left.after == pytest.approx(right.after, abs=1e-9)


def test_a_pair_that_stands_well_is_left_alone() -> None:
    # Invariant: where the moves lead, a second survey asks for none.
    result = evaluate_survey(SURVEY, Target(base_angle_deg=60))
    survey_network = result.solution.survey_network
    at = {name: result.plan.positions_m[k] for name, k in survey_network.node.items()}
    second = evaluate_survey(survey_of(at, "both"), Target(base_angle_deg=60))
    assert second.plan.moves == ()
    assert second.passes


def test_the_seat_moves_where_that_is_all_it_takes() -> None:
    # Known input: a symmetric pair on a line that the head stands 30 mm beside.
    at = random_places(np.random.default_rng([3, 4]))
    mirror = np.array([-1.0, 1.0, 1.0])
    for part in ("inner", "outer", "tweeter"):
        at[f"right {part}"] = at[f"left {part}"] * mirror
    at["rack left"], at["rack right"] = np.array([-0.5, 0, 0.5]), np.array([0.5, 0, 0.5])
    at["head"] = at["head"] + [0.03, 0, 0]
    survey = survey_of(at, "minimal")
    line = replace(survey.line, ahead=None)
    result = evaluate_survey(replace(survey, line=line))
    assert [(one.kind, one.what) for one in result.plan.moves] == [
        ("seat", "seat"),
        ("check", "both"),
    ]
    assert result.plan.moves[0].outward_m == pytest.approx(-0.03, abs=1e-6)
    assert after(result)["distance.left_minus_right"] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("pivot", ["inner", "outer", "middle", "centre"])
def test_any_pivot_leads_to_the_same_place(pivot: str) -> None:
    # Invariant: the way differs, the end doesn't.
    def turned_about(survey: Survey) -> Survey:
        boxes = {side: replace(box, pivot=pivot) for side, box in survey.cabinets.items()}
        return replace(survey, cabinets=boxes)

    usual = evaluate_survey(SURVEY)
    other = evaluate_survey(turned_about(SURVEY))
    assert other.plan.positions_m == pytest.approx(usual.plan.positions_m, abs=1e-9)
    turn = next(one for one in other.plan.moves if one.kind == "turn")
    assert turn.edge == ("inner" if pivot == "outer" else "outer")


def test_targets_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 180"):
        Target(base_angle_deg=180)
    with pytest.raises(ValueError, match="can't both"):
        Target(toe_in_deg=10, aim_deg=0)
    with pytest.raises(ValueError, match="above 0"):
        Target(distance_tolerance_m=0)
    for angle_deg in (float("nan"), 120.0):
        with pytest.raises(ValueError, match="from -80 to 80"):
            Target(toe_in_deg=angle_deg)
    with pytest.raises(ValueError, match="behind the head"):
        evaluate_survey(SURVEY, Target(front_wall_m=30))
    survey = survey_of(random_places(np.random.default_rng(1)), "minimal")
    with pytest.raises(ValueError, match="no front wall"):
        evaluate_survey(survey, Target(front_wall_m=1.0))
