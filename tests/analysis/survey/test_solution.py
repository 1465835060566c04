"""Whole surveys of invented rooms: places, slips, what stays open, and other datums."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.survey.solution import Solution, solve_survey
from analysis.survey.survey import CentreLine, Height, Mark, Observation, Survey
from analysis.survey.triangle import survey_triangle
from benchmarks.survey_rooms import noisy, random_places, survey_of, true_positions

SEEDS = range(6)


def room(seed: int, kit: str, *, noise: bool = True) -> tuple[Survey, dict[str, np.ndarray]]:
    rng = np.random.default_rng([41, seed])
    at = random_places(rng)
    survey = survey_of(at, kit)
    return (noisy(survey, rng) if noise else survey), at


def worst_m(solution: Solution, at: dict[str, np.ndarray]) -> float:
    """Return how far the worst point lies from its true place; straight walls left out."""
    away = np.linalg.norm(
        solution.adjusted.positions_m - true_positions(solution.survey_network, at), axis=1
    )
    return float(
        max(away[k] for name, k in solution.survey_network.node.items() if " wall " not in name)
    )


@pytest.mark.parametrize("kit", ["minimal", "tape", "laser", "both"])
@pytest.mark.parametrize("seed", SEEDS)
def test_every_kit_finds_every_room(kit: str, seed: int) -> None:
    # Known input: random rooms, surveyed with noise; no start is given.
    survey, at = room(seed, kit)
    solution = solve_survey(survey)
    assert solution.adjusted.converged
    assert solution.undetermined == ()
    assert solution.contradictions == ()
    assert worst_m(solution, at) < 0.02


def test_exchanged_names_are_noticed() -> None:
    # Known input: the rack's ends exchanged in every observation but their own.
    survey, _ = room(1, "tape")
    other = {"rack left": "rack right", "rack right": "rack left"}
    observations = tuple(
        replace(one, ends=tuple(other.get(name, name) for name in one.ends))
        for one in survey.observations
    )
    solution = solve_survey(replace(survey, observations=observations))
    assert any(
        "rack left stands to the right of rack right" in one for one in solution.contradictions
    )


def test_without_noise_the_places_are_exact() -> None:
    # Known input: true distances give true places, and nothing is left over.
    survey, at = room(1, "both", noise=False)
    solution = solve_survey(survey)
    assert worst_m(solution, at) < 1e-7
    assert solution.adjusted.chi_square < 1e-8
    assert solution.blunders == ()


def changed(survey: Survey, label: str, factor: float, shift_m: float = 0.0) -> Survey:
    return replace(
        survey,
        observations=tuple(
            replace(one, value=one.value * factor + shift_m) if one.label == label else one
            for one in survey.observations
        ),
    )


@pytest.mark.parametrize(
    ("kit", "label", "factor", "shift_m"),
    [
        ("laser", "rack left to left inner", 1.0, 0.009),
        ("tape", "head to left inner", 1.0, 1.0),
        ("tape", "rack left to left inner", 10.0, 0.0),
        ("both", "seat left to right outer", 1.0, -0.1),
    ],
)
def test_a_slip_of_any_size_is_found(kit: str, label: str, factor: float, shift_m: float) -> None:
    # Known input: two digits exchanged, a metre miscounted, a wrong unit, a decimetre.
    survey, at = room(2, kit)
    solution = solve_survey(changed(survey, label, factor, shift_m))
    (blunder,) = solution.blunders
    assert solution.survey_network.observations[blunder.row].label == label
    true_m = next(one.value for one in survey.observations if one.label == label)
    assert blunder.expected == pytest.approx(true_m, abs=0.008)
    assert worst_m(solution, at) < 0.02


def without(survey: Survey, *labels: str) -> Survey:
    kept = tuple(one for one in survey.observations if one.label not in labels)
    assert len(kept) == len(survey.observations) - len(labels)
    return replace(survey, observations=kept)


def test_a_height_that_nobody_read_is_named() -> None:
    # Known input: the right tweeter's height left out of a survey.
    survey, _ = room(3, "minimal")
    cabinets = dict(survey.cabinets)
    cabinets["right"] = replace(cabinets["right"], tweeter=None)
    solution = solve_survey(replace(survey, cabinets=cabinets))
    assert solution.undetermined == ("nothing fixes the height of the right tweeter",)


def test_a_cabinet_that_hangs_on_one_point_is_named_and_the_rest_stands() -> None:
    # Known input: with the head's distances alone the right cabinet may stand anywhere around.
    survey, at = room(3, "minimal")
    solution = solve_survey(
        without(
            survey,
            "rack right to right inner",
            "rack right to right outer",
            "left inner to right inner",
        )
    )
    (said,) = solution.undetermined
    assert said == "nothing fixes where the right inner edge and the right outer edge stand in plan"
    assert solution.open_nodes == {"right inner", "right outer", "right tweeter"}
    for name in ("head", "left inner", "left outer", "rack left"):
        assert solution.place_m(name) == pytest.approx(at[name], abs=0.02)


def test_a_mark_with_two_places_is_named_until_its_side_is_said() -> None:
    # Known input: two distances from points in line with the mark's own mirror image.
    survey, at = room(4, "tape", noise=False)
    place = np.array([0.6, 1.4, 0.0])
    two = [
        Observation(
            label=f"lamp to {name}",
            kind="distance",
            ends=("lamp", name),
            value=float(np.linalg.norm(place - at[name])),
            std=1e-3,
            instrument="tape",
        )
        for name in ("rack left", "rack right")
    ]
    # Mirrored in the rack's front the lamp would stand behind it, 1.4 m: both fit.
    lamp = Mark(name="lamp", height=Height(value_m=0.0, std_m=1e-3))
    survey = replace(survey, marks=(*survey.marks, lamp), observations=(*survey.observations, *two))
    assert any("lamp" in said for said in solve_survey(survey).undetermined)
    third = replace(
        two[0],
        label="lamp to head",
        ends=("lamp", "head"),
        value=float(np.linalg.norm(place - at["head"])),
    )
    solution = solve_survey(replace(survey, observations=(*survey.observations, third)))
    assert solution.undetermined == ()
    assert solution.place_m("lamp") == pytest.approx(place, abs=1e-5)


@pytest.mark.parametrize(
    "line",
    [
        CentreLine(start=("rack left",), ahead="head"),
        CentreLine(start=("rack left", "rack right"), ahead=None),
        CentreLine(start=("rack left", "rack right"), ahead="seat right"),
    ],
)
def test_distances_do_not_depend_on_the_centre_line(line: CentreLine) -> None:
    # Invariant: the datum says where zero is, not how far things are apart.
    survey, _ = room(5, "tape")
    usual, other = solve_survey(survey), solve_survey(replace(survey, line=line))
    names = list(survey.names)
    for first, second in (("head", "left outer"), ("rack right", "right inner")):
        assert {first, second} <= set(names)
        apart = [
            float(np.linalg.norm(one.place_m(first) - one.place_m(second)))
            for one in (usual, other)
        ]
        assert apart[0] == pytest.approx(apart[1], abs=1e-7)
    assert usual.adjusted.chi_square == pytest.approx(other.adjusted.chi_square, rel=1e-6)
    start = [other.place_m(name)[:2] for name in line.start]
    assert np.mean(start, axis=0) == pytest.approx((0, 0), abs=1e-9)
    if line.ahead:
        assert other.place_m(line.ahead)[0] == 0


def test_a_statement_counts_as_a_reading_and_can_be_wrong_as_one() -> None:
    # Known input: a head 12 cm beside the line of points equally far from the rack's ends, said
    # to be on it: to 2 mm that can't be, to 20 cm it can.
    survey, _ = room(5, "tape")
    bisector = replace(survey, line=CentreLine(start=("rack left", "rack right"), ahead=None))
    free = solve_survey(bisector)
    assert abs(free.place_m("head")[0]) > 0.1
    (blunder,) = solve_survey(replace(bisector, head_on_line_std_m=0.002)).blunders
    wrong = solve_survey(replace(bisector, head_on_line_std_m=0.002))
    assert wrong.survey_network.observations[blunder.row].label == "head on the line"
    tied = solve_survey(replace(bisector, head_on_line_std_m=0.2))
    assert tied.blunders == ()
    assert tied.adjusted.degrees_of_freedom == free.adjusted.degrees_of_freedom + 1


def test_a_survey_that_names_what_is_not_there_is_refused() -> None:
    survey, _ = room(1, "minimal")
    wrong = replace(survey.observations[0], ends=("rack left", "lamp"))
    with pytest.raises(ValueError, match="no point 'lamp'"):
        solve_survey(replace(survey, observations=(wrong,)))
    with pytest.raises(ValueError, match="no point 'lamp'"):
        replace(survey, line=CentreLine(start=("lamp",), ahead="head"))
    with pytest.raises(ValueError, match="needs different marks"):
        replace(survey, line=CentreLine(start=("head",), ahead="head"))
    with pytest.raises(ValueError, match="needs different marks"):
        replace(survey, line=CentreLine(start=("rack left",), ahead="left inner"))
    with pytest.raises(ValueError, match="names of their own"):
        replace(survey, marks=(Mark(name="head"),))


def test_every_kind_of_reading_places_points() -> None:
    # Known input: lines, offsets, angles and equal distances instead of some of the distances.
    survey, at = room(6, "tape", noise=False)
    place = np.array([0.8, 1.1, 0.0])
    lamp, plant = place, np.array([-0.9, 1.3, 0.0])
    known = {**at, "lamp": lamp, "plant": plant}

    def angle(first: str, corner: str, second: str) -> float:
        a, b = (known[name][:2] - known[corner][:2] for name in (first, second))
        return float(np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b)))

    head = at["head"]
    along = head[:2] / np.linalg.norm(head[:2])
    specs = [
        ("perpendicular", ("lamp", "line"), abs(float(lamp[0]))),
        ("along", ("lamp", "line start", "line ahead"), float(lamp[1])),
        ("distance", ("plant", "head"), float(np.linalg.norm(plant - head))),
        ("angle", ("plant", "head", "rack left"), angle("plant", "head", "rack left")),
        ("along", ("plant", "rack left", "head"), _along(plant, at["rack left"], head)),
    ]
    extra = tuple(
        Observation(
            label=f"{kind} {ends}", kind=kind, ends=ends, value=value, std=1e-3, instrument="tape"
        )  # type: ignore[arg-type]
        for kind, ends, value in specs
    )
    floor = Height(value_m=0.0, std_m=1e-3)
    marks = (
        Mark(name="lamp", height=floor, side="right"),
        Mark(name="plant", height=floor, side="left"),
    )
    solution = solve_survey(
        replace(survey, marks=(*survey.marks, *marks), observations=(*survey.observations, *extra))
    )
    assert along[0] == 0
    assert solution.undetermined == ()
    assert solution.place_m("lamp") == pytest.approx(lamp, abs=1e-6)
    assert solution.place_m("plant") == pytest.approx(plant, abs=1e-6)


def _along(point: np.ndarray, first: np.ndarray, second: np.ndarray) -> float:
    """Return how far a point's foot lies along a line in plan."""
    line = (second - first)[:2]
    return float((point - first)[:2] @ line / np.linalg.norm(line))


def test_an_equal_statement_counts() -> None:
    # Known input: a head truly as far from both inner edges, said so: one observation more.
    survey, at = room(7, "minimal", noise=False)
    left, right = (np.linalg.norm(at["head"] - at[f"{s} inner"]) for s in ("left", "right"))
    said = Observation(
        label="head to left inner = head to right inner",
        kind="equal",
        ends=("head", "left inner", "head", "right inner"),
        value=0.0,
        std=abs(float(left - right)) + 0.05,
        instrument="equal",
    )
    usual = solve_survey(survey)
    solution = solve_survey(replace(survey, observations=(*survey.observations, said)))
    assert solution.adjusted.degrees_of_freedom == usual.adjusted.degrees_of_freedom + 1
    wrong = solve_survey(
        replace(survey, observations=(*survey.observations, replace(said, value=0.5, std=1e-3)))
    )
    assert any(wrong.survey_network.observations[one.row].kind == "equal" for one in wrong.blunders)


def test_where_the_tweeter_stands_on_its_front_is_a_reading_with_its_sigma() -> None:
    # Closed form: both tweeters 60 mm from the inner edge, each read with 5 mm, the edges known
    # far better: the base is 10 cm and more narrower between them, known to 5 mm times root 2.
    survey, at = room(2, "laser", noise=False)
    exact = {side: replace(box, from_inner=0.0) for side, box in survey.cabinets.items()}
    read = {
        side: replace(box, from_inner=0.06 / box.width_m, from_inner_std_m=0.005)
        for side, box in survey.cabinets.items()
    }
    distances = tuple(one for one in survey.observations if "tweeter" not in one.label)
    survey = replace(
        survey, walls=(), observations=tuple(d for d in distances if "wall" not in d.label)
    )
    solution = solve_survey(replace(survey, cabinets=read))
    at_edge = solve_survey(replace(survey, cabinets=exact))
    for side in ("left", "right"):
        inner = at_edge.place_m(f"{side} inner")
        tweeter = solution.place_m(f"{side} tweeter")
        assert np.linalg.norm(tweeter - inner) == pytest.approx(0.06, abs=1e-6)
    base = survey_triangle(solution).base_width_m
    inward = [abs(float(np.cos(toe_in(at, side)))) for side in ("left", "right")]
    assert base.value_and_std[1] == pytest.approx(0.005 * np.hypot(*inward), rel=0.05)


def toe_in(at: dict[str, np.ndarray], side: str) -> float:
    """Return the angle of a front against the base."""
    step = at[f"{side} outer"] - at[f"{side} inner"]
    return float(np.arctan2(step[1], step[0]))


def test_a_line_equally_far_from_marks_beside_the_seat_may_start_behind_the_head() -> None:
    # Known input: the ends of the seat, 10 cm behind the head, span the line; all is exact.
    survey, at = room(5, "laser", noise=False)
    at = {**at, "seat left": at["head"] + [-0.8, 0.1, 0], "seat right": at["head"] + [0.9, 0.1, 0]}
    survey = survey_of(at, "laser")
    line = CentreLine(start=("seat left", "seat right"), ahead=None)
    solution = solve_survey(replace(survey, line=line))
    assert solution.contradictions == ()
    assert solution.place_m("head") == pytest.approx([-0.05, -0.1, at["head"][2]], abs=1e-6)
    assert solution.place_m("right inner")[0] > 0
