r"""How a pair comes back to where it once stood: moves from today's survey to a kept one.

Two surveys have two frames, since each centre line starts at marks of its own day. They are
laid over each other at the marks that both have: the turn and shift in plan that bring the
kept marks nearest to today's, each weighted by its variance (the closed form of two
dimensions). A mark that stands elsewhere than then would spoil that, so distances between
marks, which need no frame, are compared first, and a mark whose distances differ is left out
and named.

Each tweeter then goes to where it stood, each cabinet faces as it faced, and the head is where
it was. Standard deviations come from both surveys, to first order. What lies within its
tolerance, or within two sigmas, stands well and stays.

References
----------
K. S. Arun, T. S. Huang, S. D. Blostein, "Least-squares fitting of two 3-D point sets", IEEE
Trans. Pattern Anal. Mach. Intell. 9, 698 (1987): the fit (from memory; here in a plane).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.survey.adjustment.network import fitted_values
from analysis.survey.moves.frames import (
    MovedMark,
    common_marks,
    kept_places,
    mark_weights,
    plan_axis,
    plan_coordinates,
    propagate_both,
)
from analysis.survey.moves.moves import LEAST_SLIDE_M, LEAST_TURN_RAD, Move, Plan, plan_moves_to
from analysis.survey.observation_equations import Kind
from analysis.survey.propagation import Estimate
from analysis.survey.solution import Solution
from analysis.survey.survey import HEAD, SIDES, SURVEY_TAPE_STD_M, Side
from analysis.survey.triangle import OUTWARD
from analysis.survey.walls import tweeter_wall_distances

PLAN_SIGMAS: Final = 2.45
"""Within so many sigmas of one axis lie 95 of 100 places in a plan."""

PARTS: Final = ("inner", "outer", "tweeter")


@dataclass(frozen=True, kw_only=True, slots=True)
class KeptGoal:
    """Where everything belongs, in the frame of today's survey.

    Attributes
    ----------
    tweeters_m : mapping of str to tuple of float
        x and y of each reference point.
    head_m : tuple of float
        x and y of the head.
    """

    tweeters_m: Mapping[Side, tuple[float, float]]
    toe_ins_rad: Mapping[Side, float]
    head_m: tuple[float, float]

    def side_point_m(self, side: Side) -> tuple[float, float]:
        """Return x and y of a reference point."""
        return self.tweeters_m[side]

    def side_toe_in_rad(self, side: Side) -> float:
        """Return a cabinet's toe-in."""
        return self.toe_ins_rad[side]


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """How far one thing stands from where it stood.

    Attributes
    ----------
    toward_wall_m, outward_m : Estimate
        How far it has to go; for the seat forward, and to the right.
    turn_rad : Estimate or None
        Inward; None for the seat.
    higher_m : Estimate
        How much higher it stood.
    moves, turns : bool
        Whether it has to, beyond tolerance and two sigmas.
    """

    what: str
    toward_wall_m: Estimate
    outward_m: Estimate
    turn_rad: Estimate | None
    higher_m: Estimate
    moves: bool
    turns: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class ObservationToRestore:
    """What an observation of today's survey must be when all is back.

    Attributes
    ----------
    now, then : float
        In metres or radians.
    std : float
        One sigma of `then`.
    read_std : float
        One sigma of a single observation by its instrument.
    """

    label: str
    kind: Kind
    now: float
    then: float
    std: float
    read_std: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PutBack:
    """The way back.

    Attributes
    ----------
    steps : tuple of Step
        Left, right, seat.
    plan : Plan
        The moves in order, as a survey has them.
    observations : tuple of ObservationToRestore
        Of cabinets and head, and from both tweeters to the walls.
    marks : tuple of str
        At which the two surveys were laid over each other.
    """

    steps: tuple[Step, ...]
    plan: Plan
    observations: tuple[ObservationToRestore, ...]
    marks: tuple[str, ...]
    moved_marks: tuple[MovedMark, ...]


def put_back(today: Solution, kept: Solution) -> PutBack:
    """Return the way from today's placement to a kept one.

    Parameters
    ----------
    today, kept : Solution
        Two surveys of one room.

    Raises
    ------
    ValueError
        If they share too few marks that stayed, or a place isn't fixed in one of them.
    """
    _require_places(today, "today's survey")
    _require_places(kept, "the kept survey")
    marks, moved = common_marks(today, kept)
    weights = mark_weights(today, kept, marks)

    def differences(here: Float, there: Float) -> dict[str, Float]:
        wanted = kept_places(here, there, (today, kept), marks, weights)
        return _way_quantities(today, here, wanted)

    found = propagate_both(today, kept, differences, marks=marks)
    steps = tuple(_judge_step(what, found) for what in (*SIDES, "seat"))
    plan = plan_moves_to(today, _kept_goal(today, steps))
    plan = replace(plan, moves=tuple(_add_std(move, steps) for move in plan.moves))
    return PutBack(
        steps=steps,
        plan=plan,
        observations=tuple(_find_observations(today, kept, steps, marks, weights)),
        marks=marks,
        moved_marks=moved,
    )


def _require_places(solution: Solution, which: str) -> None:
    """Refuse a survey in which a cabinet or the head isn't fixed."""
    wanted = [HEAD, *(f"{side} {part}" for side in SIDES for part in PARTS)]
    lost = [name for name in wanted if name in solution.open_nodes]
    if lost:
        msg = f"{which} doesn't fix where the {lost[0]} stands: add readings to it"
        raise ValueError(msg)


def _axis_toe_in(axis: Float, side: Side) -> Float:
    """Return the toe-in of an axis."""
    return np.asarray(np.arctan2(-OUTWARD[side] * axis[..., 0], axis[..., 1]))


def _way_quantities(today: Solution, here: Float, wanted: dict[str, Float]) -> dict[str, Float]:
    """Return how far everything has to go."""
    found: dict[str, Float] = {}
    for what, name in (("left", "left tweeter"), ("right", "right tweeter"), ("seat", HEAD)):
        way = wanted[name] - plan_coordinates(today, here, name)
        sign = OUTWARD[what] if what != "seat" else 1.0  # type: ignore[index]
        found[f"{what} outward"] = sign * way[..., 0]
        found[f"{what} toward wall"] = -way[..., 1]
        found[f"{what} size"] = np.linalg.norm(way, axis=-1)
        found[f"{what} higher"] = (
            wanted[f"{name} z"] - here[..., today.survey_network.node[name], 2]
        )
    for side in SIDES:
        turn = _axis_toe_in(wanted[f"{side} axis"], side) - _axis_toe_in(
            plan_axis(today, here, side), side
        )
        found[f"{side} turn"] = (turn + np.pi) % (2 * np.pi) - np.pi
    return found


def _judge_step(what: str, found: dict[str, Estimate]) -> Step:
    """Return how far one thing has to go, and whether it has to."""
    size, turn = found[f"{what} size"].value_and_std, found.get(f"{what} turn")
    return Step(
        what=what,
        toward_wall_m=found[f"{what} toward wall"],
        outward_m=found[f"{what} outward"],
        turn_rad=turn,
        higher_m=found[f"{what} higher"],
        moves=size[0] > max(LEAST_SLIDE_M, PLAN_SIGMAS * size[1]),
        turns=turn is not None
        and abs(turn.value_and_std[0])
        > max(LEAST_TURN_RAD, COVERAGE_FACTOR * turn.value_and_std[1]),
    )


def _add_std(move: Move, steps: tuple[Step, ...]) -> Move:
    """Return a move with how well it is known, by both surveys."""
    step = next((one for one in steps if one.what == move.what), None)
    if step is None:
        return move
    if move.kind == "turn" and step.turn_rad is not None:
        std = step.turn_rad.value_and_std[1]
        edge_std_m = std * abs(move.edge_m / math.sin(move.turn_rad))
        return replace(move, turn_std_rad=std, edge_std_m=edge_std_m)
    return replace(
        move,
        toward_wall_std_m=step.toward_wall_m.value_and_std[1],
        outward_std_m=step.outward_m.value_and_std[1],
    )


def _kept_goal(today: Solution, steps: tuple[Step, ...]) -> KeptGoal:
    """Return where everything belongs that has to move, and where the rest stands."""
    tweeters: dict[Side, tuple[float, float]] = {}
    toe_ins: dict[Side, float] = {}
    for side, step in zip(SIDES, steps, strict=False):
        x_m, y_m = (float(value) for value in today.place_m(f"{side} tweeter")[:2])
        axis = plan_axis(today, today.adjusted.positions_m, side)
        if step.moves:
            x_m += OUTWARD[side] * step.outward_m.value_and_std[0]
            y_m -= step.toward_wall_m.value_and_std[0]
        turn = step.turn_rad.value_and_std[0] if step.turns and step.turn_rad is not None else 0.0
        tweeters[side] = (x_m, y_m)
        toe_ins[side] = float(_axis_toe_in(axis, side)) + turn
    head_x, head_y = (float(value) for value in today.place_m(HEAD)[:2])
    if steps[-1].moves:
        head_x += steps[-1].outward_m.value_and_std[0]
        head_y -= steps[-1].toward_wall_m.value_and_std[0]
    return KeptGoal(tweeters_m=tweeters, toe_ins_rad=toe_ins, head_m=(head_x, head_y))


def _places_after(
    today: Solution, here: Float, wanted: dict[str, Float], steps: tuple[Step, ...]
) -> Float:
    """Return all places when what has to move did."""
    node = today.survey_network.node
    places = np.broadcast_to(here, wanted[HEAD].shape[:-1] + here.shape[-2:]).copy()
    for side, step in zip(SIDES, steps, strict=False):
        rows = [node[f"{side} {part}"] for part in PARTS]
        centre = places[..., node[f"{side} tweeter"], :2].copy()
        if step.turns:
            axis, goal = plan_axis(today, here, side), wanted[f"{side} axis"]
            c = np.sum(axis * goal, axis=-1)[..., None]
            s = (axis[..., 0] * goal[..., 1] - axis[..., 1] * goal[..., 0])[..., None]
            away = places[..., rows, :2] - centre[..., None, :]
            x, y = away[..., 0], away[..., 1]
            places[..., rows, :2] = centre[..., None, :] + np.stack(
                [c * x - s * y, s * x + c * y], axis=-1
            )
        if step.moves:
            places[..., rows, :2] += (wanted[f"{side} tweeter"] - centre)[..., None, :]
    if steps[-1].moves:
        places[..., node[HEAD], :2] = wanted[HEAD]
    return places


def _find_observations(
    today: Solution,
    kept: Solution,
    steps: tuple[Step, ...],
    marks: tuple[str, ...],
    weights: Float,
) -> list[ObservationToRestore]:
    """Return what each observation of a cabinet or the head must be then."""
    network, observations = today.adjusted.network, today.survey_network.observations
    head_goes = steps[-1].moves
    rows = [k for k in range(len(observations)) if _tells_place(today, k, head_goes=head_goes)]

    def observe_after(here: Float, there: Float) -> dict[str, Float]:
        wanted = kept_places(here, there, (today, kept), marks, weights)
        after = _places_after(today, here, wanted, steps)
        flat = after.reshape(-1, *after.shape[-2:])
        values = np.array([fitted_values(network, one) for one in flat])
        values = values.reshape(*after.shape[:-2], -1)
        own = {observations[k].label: values[..., k] for k in rows}
        return tweeter_wall_distances(today, after) | own

    here = today.adjusted.positions_m
    values, walls = fitted_values(network, here), tweeter_wall_distances(today, here)
    now = {observations[k].label: (float(values[k]), observations[k]) for k in rows}
    found = propagate_both(today, kept, observe_after, marks=marks)
    return [
        ObservationToRestore(
            label=label.split(", reading ")[0],
            kind=now[label][1].kind if label in now else "perpendicular",
            now=now[label][0] if label in now else float(walls[label]),
            then=one.value_and_std[0],
            std=one.value_and_std[1],
            read_std=now[label][1].std if label in now else SURVEY_TAPE_STD_M,
        )
        for label, one in found.items()
        if one.value is not None
    ]


def _tells_place(today: Solution, row: int, *, head_goes: bool) -> bool:
    """Return whether an observation tells where a cabinet or the head is, once."""
    one = today.survey_network.observations[row]
    if one.instrument in ("box", "assumed", "equal") or one.kind == "height":
        return False
    if one.label.endswith(tuple(f", reading {n}" for n in range(2, 10))):
        return False
    line_goes = head_goes and today.survey_network.survey.line.ahead == HEAD
    if line_goes and "line" in one.ends:
        return False  # The centre line itself goes with the head.
    own = {HEAD, *(f"{side} {part}" for side in SIDES for part in PARTS)}
    return bool(own.intersection(one.ends))


def kept_observations(kept: Solution) -> tuple[ObservationToRestore, ...]:
    """Return what each observation of a kept placement was, adjusted.

    Returns
    -------
    tuple of ObservationToRestore
        Those of cabinets and head, `now` as `then`.
    """
    values = fitted_values(kept.adjusted.network, kept.adjusted.positions_m)
    return tuple(
        ObservationToRestore(
            label=one.label.split(", reading ")[0],
            kind=one.kind,
            now=float(values[k]),
            then=float(values[k]),
            std=float(kept.adjusted.fitted_std[k]),
            read_std=one.std,
        )
        for k, one in enumerate(kept.survey_network.observations)
        if _tells_place(kept, k, head_goes=False)
    )
