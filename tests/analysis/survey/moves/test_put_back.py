"""The way back from today's survey to a kept one."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest

from analysis.basics.arrays import Float
from analysis.survey.moves.put_back import PARTS, PutBack, put_back
from analysis.survey.solution import Solution, solve_survey
from analysis.survey.survey import SIDES
from analysis.survey.triangle import OUTWARD, cabinet_axis
from benchmarks.survey_rooms import noisy, random_places, survey_of

Places = dict[str, Float]
CABINETS = [f"{side} {part}" for side in SIDES for part in PARTS]


def moved(at: Places, *, slide: Mapping[str, Float], turn_rad: Mapping[str, float]) -> Places:
    """Return places after cabinets were turned about their tweeters and slid, x and y."""
    at = {name: place.copy() for name, place in at.items()}
    for side in SIDES:
        angle = OUTWARD[side] * turn_rad.get(side, 0.0)
        c, s = math.cos(angle), math.sin(angle)
        centre = at[f"{side} tweeter"][:2].copy()
        for part in PARTS:
            away = at[f"{side} {part}"][:2] - centre
            at[f"{side} {part}"][:2] = centre + [[c, -s], [s, c]] @ away
            at[f"{side} {part}"][:2] += slide.get(side, np.zeros(2))
    at["head"][:2] += slide.get("seat", np.zeros(2))
    return at


def framed(at: Places) -> tuple[Places, float]:
    """Return places in the frame of the line to the head, and how far that was turned."""
    angle = math.atan2(at["head"][0], at["head"][1])
    c, s = math.cos(angle), math.sin(angle)
    keep = {"line start", "line ahead"}
    turned = {}
    for name, place in at.items():
        x, y, z = place
        turned[name] = place if name in keep else np.array([c * x - s * y, s * x + c * y, z])
    for wall in ("front", "rear", "left", "right"):
        turned |= _ends(turned, wall)
    return turned, angle


def _ends(at: Places, wall: str) -> Places:
    """Return a wall's two points where the survey looks for them."""
    a, b = at[f"{wall} wall a"], at[f"{wall} wall b"]
    axis = 0 if wall in ("front", "rear") else 1
    wanted = (-1.0, 1.0) if axis == 0 else (0.0, 2.0)
    return {
        f"{wall} wall {end}": a + (value - a[axis]) / (b - a)[axis] * (b - a)
        for end, value in zip("ab", wanted, strict=True)
    }


def two_days(seed: int) -> tuple[Places, Places, Solution, Solution]:
    """Return kept and today's places, today's in its own frame, and noisy surveys of both."""
    rng = np.random.default_rng([44, seed])
    kept = random_places(rng)
    slide = {"seat": rng.normal(0, 0.05, 2)}
    slide |= {side: rng.normal(0, 0.06, 2) for side in SIDES}
    turn: dict[str, float] = {side: math.radians(rng.normal(0, 4)) for side in SIDES}
    today, _ = framed(moved(kept, slide=slide, turn_rad=turn))
    first = solve_survey(noisy(survey_of(today, "tape"), rng))
    second = solve_survey(noisy(survey_of(kept, "tape"), rng))
    return kept, today, first, second


def in_marks(at: Places, *names: str) -> Float:
    """Return x and y of points in the frame of the furniture's ends, which never moved."""
    left, right = at["rack left"][:2], at["rack right"][:2]
    along = (right - left) / np.linalg.norm(right - left)
    across = np.array([-along[1], along[0]])
    away = np.array([at[name][:2] for name in names]) - (left + right) / 2
    return np.stack([away @ along, away @ across], axis=-1)


def obeyed(today: Places, found: PutBack) -> Places:
    """Return today's places after the steps, as printed: whole millimetres, tenths of degrees."""
    slide: dict[str, Float] = {}
    turn: dict[str, float] = {}
    for step in found.steps:
        if step.moves:
            out = -1.0 if step.what == "left" else 1.0
            ways = out * step.outward_m.value_and_std[0], -step.toward_wall_m.value_and_std[0]
            slide[step.what] = np.round(ways, 3)
        if step.turns and step.turn_rad is not None:
            turn[step.what] = math.radians(round(math.degrees(step.turn_rad.value_and_std[0]), 1))
    return moved(today, slide=slide, turn_rad=turn)


def test_the_numbers_lead_back_within_their_uncertainty() -> None:
    # Known input: places moved at random between two simulated surveys with the tape's noise. The
    # printed numbers are obeyed; where the pair then stands is held against where it stood.
    off = []
    for seed in range(12):
        kept, today, first, second = two_days(seed)
        found = put_back(first, second)
        assert found.moved_marks == ()
        then = obeyed(today, found)
        for step in found.steps:
            name = "head" if step.what == "seat" else f"{step.what} tweeter"
            away = (in_marks(then, name) - in_marks(kept, name))[0]
            std = math.hypot(
                step.outward_m.value_and_std[1], step.toward_wall_m.value_and_std[1], 3e-4
            )
            off.append(float(np.linalg.norm(away)) / std)
        for side, step in zip(SIDES, found.steps, strict=False):
            axes = []
            for at in (then, kept):
                inner, outer = in_marks(at, f"{side} inner", f"{side} outer")
                axes.append(math.atan2(*cabinet_axis(inner, outer, side)))
            if step.turn_rad is not None:
                off.append(abs(axes[0] - axes[1]) / step.turn_rad.value_and_std[1])
    assert len(off) == 60
    assert np.mean(np.array(off) <= 2.0) >= 0.9
    assert max(off) < 4.5


def test_a_survey_afterwards_reads_what_was_said_and_asks_for_nothing() -> None:
    # Known input: as above, then surveyed once more with fresh noise.
    misses, asked = [], 0
    for seed in range(6):
        _, today, first, second = two_days(seed)
        found = put_back(first, second)
        there, _ = framed(obeyed(today, found))
        true = survey_of(there, "tape")
        again = noisy(true, np.random.default_rng([45, seed]))
        value = {one.label: one.value for one in again.observations}
        misses += [
            (value[one.label] - one.then) / math.hypot(one.std, one.read_std)
            for one in found.observations
            if one.label in value
        ]
        steps = put_back(solve_survey(again), second).steps
        asked += sum(step.moves + step.turns for step in steps)
    assert len(misses) > 150
    assert np.mean(np.abs(misses) <= 2.0) >= 0.9
    assert asked <= 4  # of 30, each asked for by chance in about one of twenty


def test_a_mark_that_moved_is_named_and_left_out() -> None:
    # Known input: the right end of the seat, a mark, 60 mm farther out than it was.
    kept, today, _, second = two_days(3)
    today["seat right"] = today["seat right"] + [0.06, 0.0, 0.0]
    first = solve_survey(noisy(survey_of(today, "tape"), np.random.default_rng(5)))
    found = put_back(first, second)
    assert [one.name for one in found.moved_marks] == ["seat right"]
    assert set(found.marks) == {"rack left", "rack right", "seat left"}
    then = obeyed(today, found)
    for side, step in zip(SIDES, found.steps, strict=False):
        away = (in_marks(then, f"{side} tweeter") - in_marks(kept, f"{side} tweeter"))[0]
        std_m = math.hypot(step.outward_m.value_and_std[1], step.toward_wall_m.value_and_std[1])
        assert float(np.linalg.norm(away)) < 3 * std_m


def test_nothing_moves_where_nothing_did() -> None:
    # Invariant: the same survey twice.
    _, _, _, kept = two_days(0)
    found = put_back(kept, kept)
    assert not any(step.moves or step.turns for step in found.steps)
    assert [move.kind for move in found.plan.moves] == ["check"]
    for one in found.observations:
        assert one.then == pytest.approx(one.now, abs=1e-9)


def test_surveys_without_common_marks_are_refused() -> None:
    kept, _, _, second = two_days(0)
    bare = solve_survey(survey_of(kept, "minimal"))
    few = put_back(bare, second)
    assert set(few.marks) == {"rack left", "rack right"}
    moved_rack = {name: place.copy() for name, place in kept.items()}
    moved_rack["rack right"] = moved_rack["rack right"] + [0.1, 0.0, 0.0]
    moved_rack["rack left"] = moved_rack["rack left"] - [0.1, 0.0, 0.0]
    with pytest.raises(ValueError, match="fewer than two marks"):
        put_back(solve_survey(survey_of(moved_rack, "minimal")), second)
