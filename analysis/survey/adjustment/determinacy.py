"""What an adjustment leaves open or ambiguous, and which names its places contradict, in words.

Conventions: a node is open that moves along a direction which no observation fixes; it is
ambiguous where another solution that fits as well puts it elsewhere.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.least_squares import Adjustment
from analysis.survey.adjustment.survey_network import SurveyNetwork
from analysis.survey.adjustment.usual_layout import usual_layout
from analysis.survey.survey import SIDES

DISTINCT_M: Final = 0.03
"""Solutions that differ by less than this are one."""

OPEN_SHARE: Final = 0.3
"""A node is named with an open direction where it moves by this share of the farthest."""


def describe_undetermined(
    survey_network: SurveyNetwork, adjusted: Adjustment
) -> tuple[list[str], set[str]]:
    """Return in words what nothing fixes, and the nodes concerned."""
    said = [
        f"nothing fixes the height of {_name_in_sentence(observation.ends[0])}"
        for observation, assumed in zip(
            survey_network.observations, survey_network.assumed, strict=True
        )
        if assumed
    ]
    nodes: set[str] = set()
    if adjusted.open_directions.size:
        moved = (survey_network.network.node_map @ adjusted.open_directions).reshape(
            -1, 3, adjusted.open_directions.shape[1]
        )
        size = np.linalg.norm(moved, axis=(1, 2))
        plan = np.linalg.norm(moved[:, :2], axis=(1, 2))
        for k in np.flatnonzero(size > OPEN_SHARE * size.max()):
            nodes.add(survey_network.names[k])
        said += _describe_open(survey_network, nodes, plan)
    return said, nodes


def _describe_open(survey_network: SurveyNetwork, nodes: set[str], plan: Float) -> list[str]:
    """Return what is open, walls and heights by themselves and tweeters with their edges."""
    said, places = [], []
    for name in survey_network.node:
        if name not in nodes:
            continue
        if name.endswith((" wall a", " wall b")):
            wall = f"nothing fixes where the {name.split()[0]} wall stands and how it runs"
            said += [] if wall in said else [wall]
        elif plan[survey_network.node[name]] < 1e-6:
            said.append(f"nothing fixes the height of {_name_in_sentence(name)}")
        elif not name.endswith(" tweeter"):
            places.append(_name_in_sentence(name))
    if places:
        said.insert(0, f"nothing fixes where {_join_names(places)} {_verb_for(places)} in plan")
    return said


def describe_ambiguity(survey_network: SurveyNetwork, nodes: set[str]) -> list[str]:
    """Return in words what may stand in two places."""
    named = [
        _name_in_sentence(name)
        for name in survey_network.node
        if name in nodes and "tweeter" not in name
    ]
    if not named:
        return []
    return [
        f"{_join_names(named)} could as well stand in another place that fits the readings: "
        "say on which side, or add a distance to a point that isn't in line with the others"
    ]


def describe_contradictions(
    survey_network: SurveyNetwork, adjusted: Adjustment, open_nodes: set[str]
) -> list[str]:
    """Return in words which points stand on another side than their names say."""
    place = np.vstack([adjusted.positions_m, np.zeros(3)])
    names = [*survey_network.names, "the centre line's start"]
    said = []
    for one in usual_layout(survey_network).constraints:
        pair = names[one.lower], names[one.higher]
        off_m = float(place[one.lower, one.axis] - place[one.higher, one.axis])
        if off_m > DISTINCT_M and not open_nodes.intersection(pair):
            way = "to the right of" if one.axis == 0 else "behind"
            lower, higher = (_name_in_sentence(name) for name in pair)
            said.append(
                f"by the readings {lower} stands {way} {higher}, which its name speaks against: "
                "are two names exchanged, or a reading wrong?"
            )
    return said


def _name_in_sentence(name: str) -> str:
    """Return a node's name in a sentence."""
    if name in ("head", "left tweeter", "right tweeter"):
        return f"the {name}"
    own = [f"{side} {part}" for side in SIDES for part in ("inner", "outer")]
    return f"the {name} edge" if name in own else name


def _join_names(names: list[str]) -> str:
    """Return names as a person lists them."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _verb_for(names: list[str]) -> str:
    """Return the verb."""
    return "stands" if len(names) == 1 else "stand"
