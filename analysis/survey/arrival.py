r"""Sound against tape: what it means where they disagree about which loudspeaker is nearer.

The sound's arrival difference, left minus right as a length, and the surveyed one are two
measurements of one thing. Their difference counts where it exceeds two of its sigmas. Then

- the microphone may have stood beside the surveyed head: by e to the right it changes the
  difference by e times :math:`\partial (a - b) / \partial x`, about
  :math:`2 e \sin(\varphi/2)` for the apex angle :math:`\varphi`;
- the two loudspeakers may radiate from different depths behind their reference points;
- an observation that the others check too little may be wrong: by so much that it explains the
  whole, and not so much that it would have been found.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.survey.propagation import STEP_M
from analysis.survey.solution import Solution
from analysis.survey.survey import HEAD
from analysis.survey.triangle import Triangle

HIDDEN_SIGMAS: Final = 3.0
"""A slip that moves its own standardised residual by less than this can go unseen."""

MOST_SUSPECTS: Final = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class Suspect:
    """An observation that could explain the disagreement alone."""

    label: str
    given_m: float
    would_be_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ArrivalAgainstSurvey:
    """The sound's difference beside the surveyed one.

    Attributes
    ----------
    sound_m, survey_m : float
        Left minus right.
    disagreement_m : float
        Sound less survey.
    std_m : float
        One sigma of the disagreement: both uncertainties together.
    microphone_right_m : float
        How far to the right of the surveyed head the microphone stood, if that is the cause.
    """

    sound_m: float
    survey_m: float
    disagreement_m: float
    std_m: float
    agrees: bool
    microphone_right_m: float
    suspects: tuple[Suspect, ...]


def compare_arrival(
    solution: Solution, triangle: Triangle, *, sound_m: float, sound_std_m: float
) -> ArrivalAgainstSurvey | None:
    """Compare an arrival difference with the surveyed one.

    Parameters
    ----------
    sound_m : float
        Left minus right, as a length.
    sound_std_m : float
        One sigma, with draughts and the microphone's place.

    Returns
    -------
    ArrivalAgainstSurvey or None
        None where the survey doesn't fix the distances.
    """
    surveyed = triangle.distance_m.left_minus_right
    if surveyed.value is None or surveyed.std is None:
        return None
    off_m = sound_m - surveyed.value
    std_m = float(np.hypot(sound_std_m, surveyed.std))
    agrees = abs(off_m) <= COVERAGE_FACTOR * std_m
    away = [
        solution.place_m(HEAD) - solution.place_m(f"{side} tweeter") for side in ("left", "right")
    ]
    slope = float(away[0][0] / np.linalg.norm(away[0]) - away[1][0] / np.linalg.norm(away[1]))
    return ArrivalAgainstSurvey(
        sound_m=sound_m,
        survey_m=surveyed.value,
        disagreement_m=off_m,
        std_m=std_m,
        agrees=agrees,
        microphone_right_m=off_m / slope,
        suspects=() if agrees else tuple(_find_suspects(solution, off_m)),
    )


def _find_suspects(solution: Solution, off_m: float) -> list[Suspect]:
    """Return the observations that could hide such an error, the smallest error first."""
    adjusted, observations = solution.adjusted, solution.survey_network.observations
    weighted = adjusted.weighted_jacobian()
    influence = np.asarray(weighted @ (adjusted.covariance @ _distance_gradient(solution)))
    influence = influence / adjusted.network.std
    found = []
    for row, observation in enumerate(observations):
        is_length = observation.kind in ("distance", "height", "perpendicular", "along")
        if (
            not is_length
            or observation.instrument in ("box", "assumed")
            or abs(influence[row]) < 0.05
        ):
            continue
        error_m = -off_m / float(influence[row])
        moved = abs(error_m) * np.sqrt(adjusted.redundancy[row]) / observation.std
        if moved < HIDDEN_SIGMAS and abs(error_m) < observation.value / 2:
            found.append((abs(error_m), observation, error_m))
    found.sort(key=lambda one: one[0])
    return [
        Suspect(label=one.label, given_m=one.value, would_be_m=one.value - error_m)
        for _, one, error_m in found[:MOST_SUSPECTS]
    ]


def _distance_gradient(solution: Solution) -> Float:
    """Return the derivatives of the distance difference by the unknowns."""
    network, node = solution.survey_network.network, solution.survey_network.node
    slopes = network.node_map.toarray().T.reshape(-1, *solution.adjusted.positions_m.shape)

    def difference(places: Float) -> Float:
        left, right = (
            np.linalg.norm(places[:, node[f"{side} tweeter"]] - places[:, node[HEAD]], axis=-1)
            for side in ("left", "right")
        )
        return np.asarray(left - right)

    places = solution.adjusted.positions_m
    ahead, behind = (difference(places + sign * STEP_M * slopes) for sign in (1, -1))
    return (ahead - behind) / (2 * STEP_M)
