"""A usual room, and what names say of where things stand: what the search starts from.

Whoever says "left inner" or "front wall" has said on which side it is. That, and not a guess,
tells mirror images apart; the usual places serve where observations leave a point open.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from analysis.survey.adjustment.approximate_coordinates import Layout, SideConstraint
from analysis.survey.adjustment.survey_network import SurveyNetwork
from analysis.survey.survey import HEAD, LINE_AHEAD, LINE_START, SIDES, WallName

_GUESS_M: Final[dict[str, tuple[float, float]]] = {
    HEAD: (0.0, 2.7),
    "left inner": (-0.95, 0.1),
    "left outer": (-1.2, 0.15),
    "left tweeter": (-1.07, 0.12),
    "right inner": (0.95, 0.1),
    "right outer": (1.2, 0.15),
    "right tweeter": (1.07, 0.12),
    LINE_START: (0.0, 0.0),
    LINE_AHEAD: (0.0, 1.0),
}
_WALL_GUESS_M: Final[dict[WallName, tuple[tuple[float, float], tuple[float, float]]]] = {
    "front": ((-2.0, -0.7), (2.0, -0.7)),
    "rear": ((-2.0, 4.0), (2.0, 4.0)),
    "left": ((-2.0, -0.5), (-2.0, 4.0)),
    "right": ((2.0, -0.5), (2.0, 4.0)),
}
"""A usual room, for what the observations leave open."""


def usual_layout(survey_network: SurveyNetwork) -> Layout:
    """Return usual places and what the names say of where things stand."""
    survey, node = survey_network.survey, survey_network.node
    usual_m = np.zeros((len(node), 2))
    for name, place in _GUESS_M.items():
        usual_m[node[name]] = place
    for mark in survey.marks:
        usual_m[node[mark.name]] = ({"left": -1.0, "right": 1.0}.get(mark.side or "", 0.0), 1.0)
    for wall in survey.walls:
        ends = np.array(_WALL_GUESS_M[wall.name])
        shares = np.linspace(0, 1, max(len(wall.marks), 2))[:, None]
        names = wall.marks or tuple(f"{wall.name} wall {end}" for end in "ab")
        for name, place in zip(names, ends[0] + shares * (ends[1] - ends[0]), strict=False):
            usual_m[node[name]] = place
    start = tuple(node[name] for name in survey.line.start)
    for k, name in enumerate(survey.line.start):
        usual_m[node[name]] = (0.35 * (2 * k - 1) * (len(start) - 1), 0.0)
    return Layout(
        usual_m=usual_m,
        fixed_nodes=(node[LINE_START], node[LINE_AHEAD]),
        origin=start,
        ahead=(node[survey.line.ahead],) if survey.line.ahead else (),
        constraints=tuple(_side_constraints(survey_network)),
    )


def _side_constraints(survey_network: SurveyNetwork) -> list[SideConstraint]:
    """Return what names and marks say of left and right, front and rear."""
    survey, node = survey_network.survey, survey_network.node
    head = node[HEAD]
    # Of marks beside the seat the start may lie behind the head; the edges never do.
    constraints = [SideConstraint(lower=-1, higher=head, axis=1)] if survey.line.ahead else []
    inner = {side: node[f"{side} inner"] for side in SIDES}
    outer = {side: node[f"{side} outer"] for side in SIDES}
    constraints += [
        SideConstraint(lower=outer["left"], higher=inner["left"], axis=0),
        SideConstraint(lower=inner["left"], higher=-1, axis=0),
        SideConstraint(lower=-1, higher=inner["right"], axis=0),
        SideConstraint(lower=inner["right"], higher=outer["right"], axis=0),
    ]
    constraints += [
        SideConstraint(lower=edge, higher=head, axis=1)
        for edge in (*inner.values(), *outer.values())
    ]
    if len(survey.line.start) == 2:
        first, second = (node[name] for name in survey.line.start)
        constraints.append(SideConstraint(lower=first, higher=second, axis=0))
    for mark in survey.marks:
        if mark.side == "left":
            constraints.append(SideConstraint(lower=node[mark.name], higher=-1, axis=0))
        elif mark.side == "right":
            constraints.append(SideConstraint(lower=-1, higher=node[mark.name], axis=0))
    return [*constraints, *_wall_constraints(survey_network)]


def _wall_constraints(survey_network: SurveyNetwork) -> list[SideConstraint]:
    """Return what the walls' names say of the marks on them."""
    survey, node = survey_network.survey, survey_network.node
    head = node[HEAD]
    inner = {side: node[f"{side} inner"] for side in SIDES}
    outer = {side: node[f"{side} outer"] for side in SIDES}
    constraints: list[SideConstraint] = []
    for wall in survey.walls:
        for place in (node[name] for name in wall.marks):
            constraints += {
                "front": [
                    SideConstraint(lower=place, higher=inner[side], axis=1) for side in SIDES
                ],
                "rear": [SideConstraint(lower=head, higher=place, axis=1)],
                "left": [SideConstraint(lower=place, higher=outer["left"], axis=0)],
                "right": [SideConstraint(lower=outer["right"], higher=place, axis=0)],
            }[wall.name]
    return constraints
