"""A survey as a network: which unknowns there are, and what the datum and the boxes tie.

The datum is the centre line itself: its start is the origin, and it points along y. It is laid
down by substitution, exactly and with as many conditions as the plan has freedoms: of the two
marks whose middle is the start the second is the first's mirror image in the origin, and the
mark ahead has no x. The floor is z = 0, and level; heights are observations like others.

Both edges of a cabinet and its tweeter share a height where the edges were used at the
tweeter's. Where nobody read a height it is *assumed*, with the sigma `ASSUMED_STD_M`, so that
what follows from it is as uncertain as it should be.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
from scipy import sparse

from analysis.basics.arrays import Float, Mask
from analysis.survey.adjustment.network import Network, NetworkObservation, build_network
from analysis.survey.observation_equations import Kind
from analysis.survey.survey import (
    HEAD,
    LINE_AHEAD,
    LINE_START,
    SIDES,
    SURVEY_TAPE_STD_M,
    Cabinet,
    Height,
    Observation,
    Side,
    Survey,
    Wall,
    WallName,
)

ASSUMED_STD_M: Final = 0.15
"""One sigma of an ear's or a tweeter's height that nobody read: in home listening they stand
within a few tenths of a metre of each other. Common practice, no source."""

ASSUMED_MARK: Final = Height(value_m=0.7, std_m=0.4)
"""Taken for a mark's height that nobody read: between the floor and the ears."""

USUAL_HEIGHT_M: Final = 1.0
"""Taken for such a height where no other is known."""

ON_WALL_STD_M: Final = 0.001
"""One sigma of a mark's place on a wall that is straight otherwise."""

ON_FRONT_STD_M: Final = 1e-4
"""One sigma of a tweeter's place on a cabinet's straight front: as good as exact."""

_WALL_ENDS: Final[dict[WallName, tuple[tuple[float | None, float | None], ...]]] = {
    "front": ((-1.0, None), (1.0, None)),
    "rear": ((-1.0, None), (1.0, None)),
    "left": ((None, 0.0), (None, 2.0)),
    "right": ((None, 0.0), (None, 2.0)),
}
"""Of a straight wall: one coordinate of each of its two nodes is given, the other looked for."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SurveyNetwork:
    """A network and what its parts are called.

    Attributes
    ----------
    node : mapping of str to int
        Index of each named node.
    observations : tuple of Observation
        One for each observation.
    assumed : ndarray of bool, shape (n_observations,)
        Which of them nobody took.
    segments : mapping of str to tuple of (int, int)
        The straight parts of each wall, as pairs of nodes.
    """

    survey: Survey
    network: Network
    node: dict[str, int]
    observations: tuple[Observation, ...]
    assumed: Mask
    segments: dict[WallName, tuple[tuple[int, int], ...]]

    @property
    def names(self) -> list[str]:
        """Names of the nodes in order."""
        return list(self.node)


_Expression = dict[int, float]
"""A coordinate as a sum of unknowns by index, each with its factor; empty is 0."""

_Plan = Callable[[str], tuple[_Expression, _Expression]]
"""Gives the x and y of a point by its name."""


@dataclass(kw_only=True, slots=True)
class _Unknowns:
    """The linear map from unknowns to coordinates while it is put together."""

    n: int = 0
    node: dict[str, int] = field(default_factory=dict)
    entries: list[tuple[int, int, float]] = field(default_factory=list)
    constants: dict[int, float] = field(default_factory=dict)

    def add_unknown(self) -> _Expression:
        """Return a fresh unknown as an expression."""
        self.n += 1
        return {self.n - 1: 1.0}

    def add_node(self, name: str, *axes: _Expression | float) -> None:
        """Add a node whose coordinates are expressions or numbers."""
        row = 3 * len(self.node)
        self.node[name] = len(self.node)
        for axis, expression in enumerate(axes):
            if isinstance(expression, dict):
                self.entries += [(row + axis, k, value) for k, value in expression.items()]
            else:
                self.constants[row + axis] = expression

    def build(self, observations: Sequence[NetworkObservation]) -> Network:
        """Return the network."""
        rows, columns, values = zip(*self.entries, strict=True)
        size = 3 * len(self.node)
        node_map = sparse.coo_array((values, (rows, columns)), shape=(size, self.n))
        constant = np.zeros(size)
        constant[list(self.constants)] = list(self.constants.values())
        return build_network(node_map.tocsr(), constant, observations)


def build_survey_network(survey: Survey, *, positions_m: Float | None = None) -> SurveyNetwork:
    """Return the network of a survey.

    Parameters
    ----------
    positions_m : ndarray, shape (n_nodes, 3), optional
        Places found before, which tell to what part of a crooked wall an observation was taken.

    Raises
    ------
    ValueError
        If an observation names a point or wall that isn't there.
    """
    unknowns, heights = _Unknowns(), list[tuple[str, Height | None]]()
    plan = _lay_datum(survey, unknowns)
    _add_head_and_cabinets(survey, unknowns, plan, heights)
    for mark in survey.marks:
        unknowns.add_node(mark.name, *plan(mark.name), unknowns.add_unknown())
        heights.append((mark.name, mark.height))
    unknowns.add_node(LINE_START, 0.0, 0.0, 0.0)
    unknowns.add_node(LINE_AHEAD, 0.0, 1.0, 0.0)
    segments = {wall.name: _add_wall(wall, unknowns) for wall in survey.walls}
    observations = [
        *_height_observations(heights),
        *_cabinet_observations(survey),
        *survey.observations,
        *_wall_mark_observations(survey),
    ]
    between_nodes = [
        _between_nodes(one, unknowns.node, segments, positions_m) for one in observations
    ]
    return SurveyNetwork(
        survey=survey,
        network=unknowns.build(between_nodes),
        node=unknowns.node,
        observations=tuple(observations),
        assumed=np.array([one.instrument == "assumed" for one in observations]),
        segments=segments,
    )


def _lay_datum(survey: Survey, unknowns: _Unknowns) -> _Plan:
    """Return what gives a point's x and y, the datum's conditions among them."""
    start, ahead = survey.line.start, survey.line.ahead
    fixed: dict[str, tuple[_Expression, _Expression]] = {}
    if len(start) == 1:
        fixed[start[0]] = ({}, {})
    else:
        x, y = unknowns.add_unknown(), unknowns.add_unknown() if ahead else {}
        fixed[start[0]] = (x, y)
        fixed[start[1]] = tuple({k: -v for k, v in one.items()} for one in (x, y))  # type: ignore[assignment]
    if ahead:
        fixed[ahead] = ({}, unknowns.add_unknown())

    def plan(name: str) -> tuple[_Expression, _Expression]:
        return fixed[name] if name in fixed else (unknowns.add_unknown(), unknowns.add_unknown())

    return plan


def _add_head_and_cabinets(
    survey: Survey, unknowns: _Unknowns, plan: _Plan, heights: list[tuple[str, Height | None]]
) -> None:
    """Add the head, the edges and the tweeters."""
    unknowns.add_node(HEAD, *plan(HEAD), unknowns.add_unknown())
    heights.append((HEAD, survey.head))
    for side in SIDES:
        cabinet = survey.cabinets[side]
        inner, outer = plan(f"{side} inner"), plan(f"{side} outer")
        tweeter_z = unknowns.add_unknown()
        edge_z = tweeter_z if cabinet.edges is None else unknowns.add_unknown()
        unknowns.add_node(f"{side} inner", *inner, edge_z)
        unknowns.add_node(f"{side} outer", *outer, edge_z)
        between = [
            _interpolate(a, b, cabinet.from_inner) for a, b in zip(inner, outer, strict=True)
        ]
        if cabinet.from_inner_std_m is not None:
            between = [unknowns.add_unknown(), unknowns.add_unknown()]
        unknowns.add_node(f"{side} tweeter", *between, tweeter_z)
        heights.append((f"{side} tweeter", cabinet.tweeter))
        if cabinet.edges is not None:
            heights.append((f"{side} inner", cabinet.edges))


def _interpolate(a: _Expression, b: _Expression, share: float) -> _Expression:
    """Return the expression a share of the way from one to the other."""
    mixed = {k: (1 - share) * value for k, value in a.items()}
    for k, value in b.items():
        mixed[k] = mixed.get(k, 0.0) + share * value
    return mixed


def _add_wall(wall: Wall, unknowns: _Unknowns) -> tuple[tuple[int, int], ...]:
    """Return the straight parts of a wall; add nodes where it has no marks to go by."""
    if len(wall.marks) >= 2:
        nodes = [unknowns.node[name] for name in wall.marks]
        return tuple(pairwise(nodes))
    names = [f"{wall.name} wall {end}" for end in "ab"]
    for name, axes in zip(names, _WALL_ENDS[wall.name], strict=True):
        unknowns.add_node(
            name, *(unknowns.add_unknown() if axis is None else axis for axis in axes), 0.0
        )
    return ((unknowns.node[names[0]], unknowns.node[names[1]]),)


def _height_observations(heights: list[tuple[str, Height | None]]) -> list[Observation]:
    """Return the heights as observations, assumed where nobody took them."""
    known = [height.value_m for name, height in heights if height and "tweeter" in name]
    known += [height.value_m for name, height in heights if height and name == HEAD]
    usual = Height(value_m=known[0] if known else USUAL_HEIGHT_M, std_m=ASSUMED_STD_M)
    own = (HEAD, *(f"{side} {part}" for side in SIDES for part in ("inner", "tweeter")))
    observations = []
    for name, height in heights:
        taken = height or (usual if name in own else ASSUMED_MARK)
        observations.append(
            Observation(
                label=f"height of {name}",
                kind="height",
                ends=(name,),
                value=taken.value_m,
                std=taken.std_m,
                instrument="tape" if height else "assumed",
            )
        )
    return observations


def _cabinet_observations(survey: Survey) -> list[Observation]:
    """Return what boxes and head are said to be, as observations."""
    observations = [
        Observation(
            label=f"width of the {side} cabinet",
            kind="distance",
            ends=(f"{side} inner", f"{side} outer"),
            value=cabinet.width_m,
            std=cabinet.width_std_m,
            instrument="box",
        )
        for side, cabinet in survey.cabinets.items()
        if cabinet.width_std_m is not None
    ]
    for side in SIDES:
        observations += _tweeter_observations(side, survey.cabinets[side])
    if survey.head_on_line_std_m is not None and survey.line.ahead != HEAD:
        observations.append(
            Observation(
                label="head on the line",
                kind="perpendicular",
                ends=(HEAD, "line"),
                value=0.0,
                std=survey.head_on_line_std_m or SURVEY_TAPE_STD_M,
                instrument="box",
            )
        )
    return observations


def _tweeter_observations(side: Side, cabinet: Cabinet) -> list[Observation]:
    """Return where a tweeter stands on its front, where that was read."""
    if cabinet.from_inner_std_m is None:
        return []
    ends = (f"{side} tweeter", f"{side} inner", f"{side} outer")
    read: tuple[tuple[str, Kind, float, float], ...] = (
        ("tweeter", "along", cabinet.from_inner * cabinet.width_m, cabinet.from_inner_std_m),
        ("front", "perpendicular", 0.0, ON_FRONT_STD_M),
    )
    return [
        Observation(
            label=f"{name} of the {side} cabinet",
            kind=kind,
            ends=ends,
            value=value,
            std=std,
            instrument="box",
        )
        for name, kind, value, std in read
    ]


def _wall_mark_observations(survey: Survey) -> list[Observation]:
    """Return that the only mark of a straight wall lies on it, as observations."""
    return [
        Observation(
            label=f"{wall.marks[0]} on the {wall.name} wall",
            kind="perpendicular",
            ends=(wall.marks[0], f"wall {wall.name}"),
            value=0.0,
            std=ON_WALL_STD_M,
            instrument="box",
        )
        for wall in survey.walls
        if len(wall.marks) == 1
    ]


def _between_nodes(
    observation: Observation,
    node: dict[str, int],
    segments: dict[WallName, tuple[tuple[int, int], ...]],
    positions_m: Float | None,
) -> NetworkObservation:
    """Return an observation between nodes."""
    nodes: list[int] = []
    for end in observation.ends:
        if end == "line":
            nodes += [node[LINE_START], node[LINE_AHEAD]]
        elif end.startswith("wall ") and end not in node:
            parts = segments.get(end.removeprefix("wall "))  # type: ignore[call-overload]
            if parts is None:
                msg = f"{observation.label}: there is no {end.removeprefix('wall ')} wall"
                raise ValueError(msg)
            nodes += nearest_segment(parts, nodes[0], positions_m)
        elif end in node:
            nodes.append(node[end])
        else:
            msg = f"{observation.label}: there is no point {end!r}"
            raise ValueError(msg)
    return NetworkObservation(
        kind=observation.kind, nodes=tuple(nodes), value=observation.value, std=observation.std
    )


def nearest_segment(
    parts: tuple[tuple[int, int], ...], node: int, positions_m: Float | None
) -> tuple[int, int]:
    """Return the straight part of a wall that is nearest to a node, as its two ends."""
    if positions_m is None or len(parts) == 1:
        return parts[0][0], parts[-1][1]
    ends = positions_m[np.array(parts)][..., :2]
    away = positions_m[node, :2] - ends[:, 0]
    line = ends[:, 1] - ends[:, 0]
    share = np.einsum("ij,ij->i", away, line) / np.einsum("ij,ij->i", line, line)
    foot = ends[:, 0] + np.clip(share, 0, 1)[:, None] * line
    return parts[int(np.argmin(np.linalg.norm(positions_m[node, :2] - foot, axis=1)))]
