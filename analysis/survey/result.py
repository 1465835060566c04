"""All that a survey gives: places, triangle, walls, how well the pair stands, and the moves."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.survey.checkability import Uncheckable, uncheckable_observations
from analysis.survey.doubt import Doubt, survey_doubts
from analysis.survey.moves.moves import Plan, plan_moves
from analysis.survey.moves.target import Criterion, Target, judge
from analysis.survey.propagation import Estimate
from analysis.survey.solution import Solution, solve_survey
from analysis.survey.survey import SIDES, Survey
from analysis.survey.triangle import Triangle, survey_triangle
from analysis.survey.walls import SurveyWalls, survey_walls


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SurveyResult:
    """A survey and all that follows from it.

    Attributes
    ----------
    doubts : tuple of {"unchecked", "names", "many", "alike"}
        Why nothing should be moved yet; empty where the figures can be acted upon.
    """

    solution: Solution
    triangle: Triangle
    walls: SurveyWalls
    target: Target
    criteria: tuple[Criterion, ...]
    plan: Plan
    uncheckable: tuple[Uncheckable, ...]
    doubts: tuple[Doubt, ...]

    @property
    def passes(self) -> bool:
        """Whether distances and toe-in are known, and nothing is certainly off."""
        known = {one.name for one in self.criteria}
        sure = {"distance", "toe_in"} <= known and not self.doubts
        return sure and all(one.verdict != "fails" for one in self.criteria)


def evaluate_survey(survey: Survey, target: Target | None = None) -> SurveyResult:
    """Return all that a survey gives.

    Parameters
    ----------
    target : Target, optional
        By default symmetric with the least movement.

    Raises
    ------
    ValueError
        If an observation names what isn't there, or the target a front wall that wasn't measured.
    """
    wanted = target or Target()
    solution = solve_survey(survey)
    triangle, walls = survey_triangle(solution), survey_walls(solution)
    criteria = judge(triangle, wanted, _mean_front_distance(walls))
    doubts = survey_doubts(solution, wanted)
    return SurveyResult(
        solution=solution,
        triangle=triangle,
        walls=walls,
        target=wanted,
        criteria=tuple(criteria),
        plan=plan_moves(solution, triangle, [] if doubts else criteria, wanted),
        uncheckable=uncheckable_observations(solution),
        doubts=doubts,
    )


def _mean_front_distance(walls: SurveyWalls) -> Estimate | None:
    """Return the mean distance of both reference points from the front wall."""
    found = [
        one.reference_m.value_and_std
        for side in SIDES
        for one in walls.cabinets[side]
        if one.wall == "front" and one.reference_m.value is not None
    ]
    if len(found) != len(SIDES):
        return None
    # Not less certain than both fully correlated.
    return Estimate(
        value=math.fsum(value for value, _ in found) / 2,
        std=math.fsum(std for _, std in found) / 2,
    )
