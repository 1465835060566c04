"""What to move, in which order, by how much, and what the tape must read afterwards.

Conventions: a slide is told by how far toward the front wall and how far outward, away from
the centre line. A turn is about a stated floor point of the cabinet; it is told by how far an
edge of its front comes forward, into the room, and by its angle, positive inward. Of the two
that one comes first which changes the distance to the head more, so that the last one disturbs
it least; a check of both distances ends the list. What must be read is what the adjusted
network gives with everything moved so far, the turn included.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal, Protocol, cast

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.network import fitted_values
from analysis.survey.moves.target import (
    PLACE_TOLERANCE_M,
    Criterion,
    SymmetricGoal,
    Target,
    symmetric_goal,
)
from analysis.survey.solution import Solution
from analysis.survey.survey import HEAD, PIVOTS, SIDES, Side
from analysis.survey.triangle import OUTWARD, Triangle, cabinet_axis
from analysis.survey.walls import cabinet_corners

LEAST_SLIDE_M: Final = 5e-4
LEAST_TURN_RAD: Final = math.radians(0.05)
"""Smaller slides and turns are left out: nobody moves a cabinet by less."""

SAME_M: Final = 5e-5
"""An observation that changes by less isn't listed."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ObservationChange:
    """What an observation must be after a move.

    Attributes
    ----------
    before, after : float
        In metres or radians, as the adjusted places give them.
    """

    label: str
    kind: str
    before: float
    after: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """One step.

    Attributes
    ----------
    toward_wall_m, outward_m : float
        Of a slide; for the seat forward, and to the right.
    turn_rad : float
        Positive inward.
    edge : str or None
        The edge of the front at which a turn is measured, ``inner`` or ``outer``.
    edge_m : float
        How far it comes forward, into the room.
    about : str or None
        The floor point of a turn.
    observations : tuple of ObservationChange
        Those that this move changes; for a check both distances to the head.
    distance_m : tuple of float
        From the head to the left and to the right reference point after it.
    toward_wall_std_m, outward_std_m, turn_std_rad, edge_std_m : float
        How well the place and the angle are known from which it starts, one sigma.
    """

    kind: Literal["slide", "turn", "seat", "check"]
    what: Literal["left", "right", "seat", "both"]
    toward_wall_m: float = 0.0
    outward_m: float = 0.0
    turn_rad: float = 0.0
    edge: str | None = None
    edge_m: float = 0.0
    about: str | None = None
    observations: tuple[ObservationChange, ...] = ()
    distance_m: tuple[float, float] = (0.0, 0.0)
    toward_wall_std_m: float = 0.0
    outward_std_m: float = 0.0
    turn_std_rad: float = 0.0
    edge_std_m: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Plan:
    """All moves and where they lead.

    Attributes
    ----------
    moves : tuple of Move
        Empty where nothing has to be moved.
    goal : SymmetricGoal or None
        The target; None where nothing is to be moved or the places aren't known.
    positions_m : ndarray, shape (n_nodes, 3)
        Of all nodes after the moves.
    """

    moves: tuple[Move, ...]
    goal: SymmetricGoal | None
    positions_m: Float


def plan_moves(
    solution: Solution, triangle: Triangle, criteria: list[Criterion], target: Target
) -> Plan:
    """Return the moves that bring a pair to its target.

    Parameters
    ----------
    criteria : list of Criterion
        From `judge`; nothing moves unless one fails.

    Raises
    ------
    ValueError
        If a front-wall distance is asked for and no front wall was measured.
    """
    still = solution.adjusted.positions_m
    known = triangle.toe_in_rad.left_minus_right.value is not None
    passes = all(one.verdict != "fails" for one in criteria)
    if not known or passes:
        return Plan(moves=(), goal=None, positions_m=still)
    goal = symmetric_goal(solution, triangle, target)
    seat_x_m = _seat_x_for_equal_distances(solution, triangle, criteria, goal)
    if seat_x_m is None:
        plan = plan_moves_to(solution, goal)
    else:
        mover = _Mover(solution)
        mover.move_seat(seat_x_m, float(still[mover.node[HEAD], 1]))
        mover.add_check()
        plan = Plan(moves=tuple(mover.moves), goal=None, positions_m=mover.places)
    moves = tuple(_add_std(move, solution, triangle) for move in plan.moves)
    return replace(plan, moves=moves, goal=goal)


def _add_std(move: Move, solution: Solution, triangle: Triangle) -> Move:
    """Return a move with how well what it starts from is known."""
    if move.kind == "turn":
        std_rad = triangle.toe_in_rad.of(cast(Side, move.what)).value_and_std[1]
        return replace(
            move,
            turn_std_rad=std_rad,
            edge_std_m=std_rad * abs(move.edge_m / math.sin(move.turn_rad)),
        )
    if move.kind == "check":
        return move
    name = HEAD if move.kind == "seat" else f"{move.what} tweeter"
    outward_std_m, toward_std_m, _ = np.sqrt(solution.place_covariance(name).diagonal().clip(0))
    return replace(move, toward_wall_std_m=float(toward_std_m), outward_std_m=float(outward_std_m))


class Goal(Protocol):
    """Where both loudspeakers and the head belong, in the frame of the survey."""

    @property
    def head_m(self) -> tuple[float, float]:
        """X and y of the head."""

    def side_point_m(self, side: Side) -> tuple[float, float]:
        """Return x and y of a reference point."""

    def side_toe_in_rad(self, side: Side) -> float:
        """Return a cabinet's toe-in."""


def plan_moves_to(solution: Solution, goal: Goal) -> Plan:
    """Return the moves that bring everything to where it belongs.

    Returns
    -------
    Plan
        Without a symmetric goal and without sigmas of the moves.
    """
    mover = _Mover(solution)
    mover.move_seat(*goal.head_m)
    far = {side: np.linalg.norm(mover.slide_to(side, goal)) for side in SIDES}
    for side in sorted(SIDES, key=lambda one: -far[one]):
        mover.move_cabinet(side, goal)
    mover.add_check()
    return Plan(moves=tuple(mover.moves), goal=None, positions_m=mover.places)


def _seat_x_for_equal_distances(
    solution: Solution, triangle: Triangle, criteria: list[Criterion], goal: SymmetricGoal
) -> float | None:
    """Return the head's x that makes the distances equal, where moving it is all it takes."""
    failed = {one.name for one in criteria if one.verdict == "fails"}
    if not failed <= {"distance", "seat"}:
        return None
    left, right, head = (solution.place_m(name) for name in ("left tweeter", "right tweeter", HEAD))
    # Equal distances: the head in the plane that halves the base at a right angle.
    base = right - left
    away = (left + right) / 2 - head
    step_m = float(base @ away / base[0])
    slides = [
        math.hypot(
            goal.offset_m - triangle.offset_m.of(side).value_and_std[0],
            goal.side_depth_m(side) - triangle.depth_m.of(side).value_and_std[0],
        )
        for side in SIDES
    ]
    x_m = float(head[0]) + step_m
    if abs(step_m) > max(slides) and "seat" not in failed:
        return None
    return x_m if abs(x_m) <= PLACE_TOLERANCE_M else None


class _Mover:
    """Moves things in a copy of the places, and writes down each step."""

    def __init__(self, solution: Solution) -> None:
        self.solution = solution
        self.node = solution.survey_network.node
        self.places = solution.adjusted.positions_m.copy()
        self.moves: list[Move] = []

    def move_seat(self, x_m: float, y_m: float) -> None:
        """Move the head."""
        step = np.array([x_m, y_m]) - self.places[self.node[HEAD], :2]
        if float(np.linalg.norm(step)) < LEAST_SLIDE_M:
            return
        before = self._fitted_now()
        self.places[self.node[HEAD], :2] += step
        move = {"toward_wall_m": -float(step[1]), "outward_m": float(step[0])}
        self._record(before, kind="seat", what="seat", **move)

    def slide_to(self, side: Side, goal: Goal) -> Float:
        """Return how far a reference point is from its target, in plan."""
        wanted = np.array(goal.side_point_m(side))
        return np.asarray(wanted - self.places[self.node[f"{side} tweeter"], :2])

    def turn_to(self, side: Side, goal: Goal) -> float:
        """Return by how much a cabinet has to be turned inward."""
        inner, outer = (self.places[self.node[f"{side} {part}"]] for part in ("inner", "outer"))
        axis = cabinet_axis(inner, outer, side)
        return goal.side_toe_in_rad(side) - math.atan2(-OUTWARD[side] * axis[0], axis[1])

    def move_cabinet(self, side: Side, goal: Goal) -> None:
        """Turn and slide a cabinet to its target."""
        turn, start = self.turn_to(side, goal), self.places.copy()
        self._rotate(side, turn)
        turned_m = self._distance_to_head(side) - self._distance_to_head(side, start)
        slide = self.slide_to(side, goal)
        self.places, ended = start, self.places
        slid_m = self._distance_to_head(
            side, ended + self._shift_of_places(side, slide)
        ) - self._distance_to_head(side, ended)
        turn_first = abs(turned_m) >= abs(slid_m)
        if turn_first:
            self._turn_cabinet(side, turn)
        self._slide_cabinet(side, slide)
        if not turn_first:
            self._turn_cabinet(side, turn)

    def add_check(self) -> None:
        """End with both distances to the head."""
        now = [
            ObservationChange(
                label=f"head to {side} tweeter",
                kind="distance",
                before=self._distance_to_head(side, self.solution.adjusted.positions_m),
                after=self._distance_to_head(side),
            )
            for side in SIDES
        ]
        both = (now[0].after, now[1].after)
        self.moves.append(Move(kind="check", what="both", observations=tuple(now), distance_m=both))

    def _distance_to_head(self, side: Side, places: Float | None = None) -> float:
        """Return the distance of a reference point from the head."""
        at = self.places if places is None else places
        return float(np.linalg.norm(at[self.node[f"{side} tweeter"]] - at[self.node[HEAD]]))

    def _cabinet_nodes(self, side: Side) -> list[int]:
        """Return the nodes of a cabinet."""
        return [self.node[f"{side} {part}"] for part in ("inner", "outer", "tweeter")]

    def _shift_of_places(self, side: Side, slide: Float) -> Float:
        """Return a slide as a change of all places."""
        shift = np.zeros_like(self.places)
        shift[self._cabinet_nodes(side), :2] = slide
        return shift

    def _pivot_point(self, side: Side) -> Float:
        """Return the floor point about which a cabinet is turned."""
        cabinet = self.solution.survey_network.survey.cabinets[side]
        corners = cabinet_corners(self.places, self.node, side, cabinet.depth_m)
        return np.asarray(
            {
                "inner": corners[0],
                "outer": corners[1],
                "middle": corners[:2].mean(axis=0),
                "centre": corners.mean(axis=0),
            }[cabinet.pivot]
        )

    def _rotate(self, side: Side, turn_rad: float) -> None:
        """Turn a cabinet inward about its pivot."""
        pivot, nodes = self._pivot_point(side), self._cabinet_nodes(side)
        angle = OUTWARD[side] * turn_rad
        rotation = np.array(
            [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
        )
        self.places = self.places.copy()
        self.places[nodes, :2] = (self.places[nodes, :2] - pivot) @ rotation.T + pivot

    def _turn_cabinet(self, side: Side, turn_rad: float) -> None:
        """Turn a cabinet and write it down."""
        if abs(turn_rad) < LEAST_TURN_RAD:
            return
        pivot = self.solution.survey_network.survey.cabinets[side].pivot
        edge = "inner" if pivot == "outer" else "outer"
        before, node = self._fitted_now(), self.node[f"{side} {edge}"]
        from_m = self.places[node, 1]
        self._rotate(side, turn_rad)
        self._record(
            before,
            kind="turn",
            what=side,
            turn_rad=turn_rad,
            edge=edge,
            edge_m=float(self.places[node, 1] - from_m),
            about=PIVOTS[pivot],
        )

    def _slide_cabinet(self, side: Side, slide: Float) -> None:
        """Slide a cabinet and write it down."""
        if float(np.linalg.norm(slide)) < LEAST_SLIDE_M:
            return
        before = self._fitted_now()
        self.places = self.places + self._shift_of_places(side, slide)
        move = {"toward_wall_m": -float(slide[1]), "outward_m": OUTWARD[side] * float(slide[0])}
        self._record(before, kind="slide", what=side, **move)

    def _fitted_now(self) -> Float:
        """Return what each observation would be now."""
        return fitted_values(self.solution.adjusted.network, self.places)

    def _record(self, before: Float, **step: object) -> None:
        """Write down a step with the observations that it changes."""
        after = self._fitted_now()
        changed = tuple(
            ObservationChange(
                label=observation.label, kind=observation.kind, before=float(a), after=float(b)
            )
            for observation, a, b in zip(
                self.solution.survey_network.observations, before, after, strict=True
            )
            if abs(b - a) > SAME_M and observation.instrument not in ("box", "assumed", "equal")
        )
        both = (self._distance_to_head("left"), self._distance_to_head("right"))
        self.moves.append(Move(observations=changed, distance_m=both, **step))  # type: ignore[arg-type]
