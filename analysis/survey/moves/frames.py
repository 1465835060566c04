"""Two surveys of one room in one frame, by the marks that stayed.

Conventions: a mark is a point with the person's own name, which no loudspeaker and no head is;
*moved* is today less kept. Distances between marks need no frame: a mark whose distances differ
is left out, the one that differs most first, and the marks of the centre line last.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.propagation import STEP_M, Estimate, propagate
from analysis.survey.solution import Solution
from analysis.survey.survey import HEAD, SIDES, Side
from analysis.survey.triangle import cabinet_axis

MARK_STD_M: Final = 1e-3
"""One sigma of a mark's place from day to day: furniture is nudged, a strip of tape has a
width. Common practice, no source."""

MARK_SIGMAS: Final = 3.0
"""A distance between two marks that differs by more says that one of them moved. With six
distances a clean pair of surveys is blamed in about one of sixty."""

LEAST_APART_M: Final = 0.3
"""Marks nearer together than this say too little of how the frames are turned."""


SUSPECT_SHARE: Final = 0.8
"""A mark whose distances differ by this share of the worst one's is as suspect."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MovedMark:
    """A mark that isn't where it was.

    Attributes
    ----------
    off_m, off_std_m : float
        The largest change of its distance from another mark.
    other : str
        Which one.
    """

    name: str
    off_m: float
    off_std_m: float
    other: str


def propagate_both(
    today: Solution,
    kept: Solution,
    quantities: Callable[[Float, Float], dict[str, Float]],
    *,
    marks: tuple[str, ...],
) -> dict[str, Estimate]:
    """Return quantities of two surveys with the uncertainties of both, and of their marks.

    Parameters
    ----------
    quantities : callable
        From today's and the kept places, shape (..., n_nodes, 3), one of them a batch.
    marks : tuple of str
        At which they are laid over each other.
    """
    here, there = today.adjusted.positions_m, kept.adjusted.positions_m
    first = propagate(today.adjusted, lambda places: quantities(places, there))
    second = propagate(kept.adjusted, lambda places: quantities(here, places))
    third = _mark_stds(kept, lambda places: quantities(here, places), marks)
    return {
        name: Estimate(value=None, std=None)
        if one.std is None or second[name].std is None
        else Estimate(
            value=one.value, std=math.hypot(one.std, second[name].value_and_std[1], third[name])
        )
        for name, one in first.items()
    }


def _mark_stds(
    kept: Solution, quantities: Callable[[Float], dict[str, Float]], marks: tuple[str, ...]
) -> dict[str, float]:
    """Return one sigma from marks that are found again only so well, both days."""
    still = kept.adjusted.positions_m
    places = np.repeat(still[None], 1 + 2 * len(marks), axis=0)
    for k, name in enumerate(marks):
        for axis in (0, 1):
            places[1 + 2 * k + axis, kept.survey_network.node[name], axis] += STEP_M
    scale = MARK_STD_M * math.sqrt(2) / STEP_M
    return {
        name: scale * float(np.linalg.norm(values[1:] - values[0]))
        for name, values in quantities(places).items()
    }


def common_marks(today: Solution, kept: Solution) -> tuple[tuple[str, ...], tuple[MovedMark, ...]]:
    """Return the marks that both surveys have and that stayed, and those that moved.

    Raises
    ------
    ValueError
        If fewer than two are left, or they stand too near together.
    """
    names = [
        mark.name
        for mark in today.survey_network.survey.marks
        if mark.name in {one.name for one in kept.survey_network.survey.marks}
        and mark.name not in today.open_nodes | kept.open_nodes
    ]
    start = set(today.survey_network.survey.line.start)
    moved: list[MovedMark] = []
    apart = _distance_changes(today, kept, names)
    while len(names) >= 2:
        off = {pair: apart[pair] for pair in combinations(names, 2)}
        worst = max(off, key=lambda pair: abs(off[pair][0]) / off[pair][1])
        if abs(off[worst][0]) <= MARK_SIGMAS * off[worst][1]:
            break
        loads = {
            name: sum((o / s) ** 2 for pair, (o, s) in off.items() if name in pair)
            for name in names
        }
        # Where several are as suspect, the marks of the centre line are trusted last.
        most = max(loads.values())
        suspects = [name for name in names if loads[name] > SUSPECT_SHARE * most]
        suspect = max(suspects, key=lambda name: (name not in start, loads[name]))
        moved.append(_moved_mark(suspect, off))
        names.remove(suspect)
    _require_marks(today, names, moved)
    return tuple(names), tuple(moved)


def _moved_mark(name: str, off: Mapping[tuple[str, str], tuple[float, float]]) -> MovedMark:
    """Return how far a mark moved against the other that shows it most."""
    pair = max((one for one in off if name in one), key=lambda one: abs(off[one][0]))
    other = pair[1] if pair[0] == name else pair[0]
    return MovedMark(name=name, off_m=off[pair][0], off_std_m=off[pair][1], other=other)


def _require_marks(today: Solution, names: list[str], moved: list[MovedMark]) -> None:
    """Refuse frames that nothing lays over each other."""
    places = [today.place_m(name)[:2] for name in names]
    apart_m = max((float(np.hypot(*(a - b))) for a, b in combinations(places, 2)), default=0.0)
    if apart_m >= LEAST_APART_M:
        return
    gone = f" ({', '.join(one.name for one in moved)} moved since)" if moved else ""
    msg = (
        "the two surveys share fewer than two marks that stayed and stand "
        f"{LEAST_APART_M:g} m apart{gone}: use the same marks in both, such as the ends of the "
        "furniture or strips of tape on the walls"
    )
    raise ValueError(msg)


def _distance_changes(
    today: Solution, kept: Solution, names: list[str]
) -> dict[tuple[str, str], tuple[float, float]]:
    """Return the change of each distance between two marks in plan, and its sigma."""

    def distances(solution: Solution) -> dict[str, Estimate]:
        def mark_distances(places: Float) -> dict[str, Float]:
            at = {name: places[..., solution.survey_network.node[name], :2] for name in names}
            return {
                f"{a}\n{b}": np.linalg.norm(at[a] - at[b], axis=-1)
                for a, b in combinations(names, 2)
            }

        return propagate(solution.adjusted, mark_distances)

    first, second = distances(today), distances(kept)
    found = {}
    for a, b in combinations(names, 2):
        now, then = first[f"{a}\n{b}"].value_and_std, second[f"{a}\n{b}"].value_and_std
        std_m = math.hypot(now[1], then[1], MARK_STD_M * math.sqrt(2))
        found[a, b] = (now[0] - then[0], std_m)
    return found


def mark_weights(today: Solution, kept: Solution, marks: tuple[str, ...]) -> Float:
    """Return the weight of each mark."""
    return np.array(
        [
            1
            / sum(
                [2 * MARK_STD_M**2]
                + [np.trace(one.place_covariance(name)[:2, :2]) for one in (today, kept)]
            )
            for name in marks
        ]
    )


def plan_coordinates(solution: Solution, places: Float, name: str) -> Float:
    """Return one node's x and y, shape (..., 2)."""
    return np.asarray(places[..., solution.survey_network.node[name], :2])


def kept_places(
    here: Float,
    there: Float,
    solutions: tuple[Solution, Solution],
    marks: tuple[str, ...],
    weights: Float,
) -> dict[str, Float]:
    """Return the kept places in today's frame, x and y, and the kept axes."""
    today, kept = solutions
    now = np.stack([plan_coordinates(today, here, name) for name in marks], axis=-2)
    then = np.stack([plan_coordinates(kept, there, name) for name in marks], axis=-2)
    share = (weights / weights.sum())[:, None]
    middle_now, middle_then = (np.sum(share * one, axis=-2) for one in (now, then))
    a, b = then - middle_then[..., None, :], now - middle_now[..., None, :]
    dot = np.sum(share * a * b, axis=(-2, -1))
    cross = np.sum(share[:, 0] * (a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]), axis=-1)
    turn = np.arctan2(cross, dot)

    def rotate(vector: Float) -> Float:
        c, s = np.cos(turn), np.sin(turn)
        x, y = vector[..., 0], vector[..., 1]
        return np.stack([c * x - s * y, s * x + c * y], axis=-1)

    found = {
        name: rotate(plan_coordinates(kept, there, name) - middle_then) + middle_now
        for name in (HEAD, *(f"{side} tweeter" for side in SIDES))
    }
    for side in SIDES:
        found[f"{side} axis"] = rotate(plan_axis(kept, there, side))
    for name in (HEAD, *(f"{side} tweeter" for side in SIDES)):
        found[f"{name} z"] = there[..., kept.survey_network.node[name], 2]
    return found


def plan_axis(solution: Solution, places: Float, side: Side) -> Float:
    """Return the direction in which a cabinet faces, shape (..., 2)."""
    inner, outer = (
        plan_coordinates(solution, places, f"{side} {part}") for part in ("inner", "outer")
    )
    return cabinet_axis(inner, outer, side)
