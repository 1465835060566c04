"""Why nothing should be moved yet, whatever a survey's figures say.

An observation that doesn't fit is set aside; where another may be wrong instead, the answer is only
as good as that choice. Each such choice is tried the other way round, and if the triangle then
differs by more than its tolerances, the observations must be read again first. The same holds where
points stand on the other side than their names say, and where many observations don't fit.
"""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.least_squares import adjust
from analysis.survey.moves.target import PLACE_TOLERANCE_M, Target
from analysis.survey.solution import Solution
from analysis.survey.triangle import triangle_quantities

MOST_ASIDE: Final = 3
"""With more observations set aside a person has measured something else than is written down."""

Doubt = Literal["unchecked", "names", "many", "alike"]
"""Too little is left to check the rest; names speak against the places; many observations don't
fit; which of some observations is wrong decides the answer."""


def survey_doubts(solution: Solution, target: Target) -> tuple[Doubt, ...]:
    """Return why nothing should be moved yet.

    Parameters
    ----------
    target : Target
        With its tolerances.

    Returns
    -------
    tuple of {"unchecked", "names", "many", "alike"}
        Empty where the figures can be acted upon.
    """
    doubts: list[Doubt] = []
    if solution.is_contradictory:
        doubts.append("unchecked")
    if solution.contradictions:
        doubts.append("names")
    if len(solution.blunders) > MOST_ASIDE:
        doubts.append("many")
    elif _depends_on_choice(solution, target):
        doubts.append("alike")
    return tuple(doubts)


def _depends_on_choice(solution: Solution, target: Target) -> bool:
    """Return whether another choice of the wrong observation would change the answer."""
    tolerances = {
        "distance": target.distance_tolerance_m,
        "toe_in": math.radians(target.toe_in_tolerance_deg),
        "offset": PLACE_TOLERANCE_M,
        "depth": PLACE_TOLERANCE_M,
    }
    usual = _left_minus_right(solution, solution.adjusted.positions_m)
    for blunder in solution.blunders:
        for other in blunder.alternatives:
            active = solution.adjusted.active.copy()
            active[[blunder.row, other]] = True, False
            adjusted = adjust(solution.adjusted.network, solution.adjusted.unknowns, active=active)
            found = _left_minus_right(solution, adjusted.positions_m)
            if any(abs(found[name] - usual[name]) > most for name, most in tolerances.items()):
                return True
    return False


def _left_minus_right(solution: Solution, places: Float) -> dict[str, float]:
    """Return left minus right of what is held to a tolerance."""
    found = triangle_quantities(places, solution.survey_network.node)
    return {
        name: float(np.asarray(found[f"{name}.left_minus_right"]))
        for name in ("distance", "toe_in", "offset", "depth")
    }
