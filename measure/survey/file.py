"""The survey file: what a person measured with tape and laser, typed as it was read.

Conventions: bare lengths are in the file's own ``unit``; metres and radians leave. An observation
is one line, ``"rack left to left inner" = 812``, under the instrument that took it. See
``docs/survey_file.md``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analysis.survey.moves.target import USUAL_BASE_ANGLE_DEG, Target
from analysis.survey.survey import (
    EQUAL_STD_M,
    LASER_STD_M,
    SIDES,
    SURVEY_TAPE_STD_M,
    WALLS,
    Cabinet,
    CentreLine,
    Furniture,
    Height,
    Mark,
    Observation,
    Side,
    Survey,
    Wall,
)
from measure.errors import SurveyFileError
from measure.files.toml_file import read_toml
from measure.survey.lengths import Unit, parse_length
from measure.survey.observation_lines import (
    KindAndEnds,
    parse_angle,
    parse_equal_distances,
    parse_observation,
)
from measure.survey.tables import (
    CabinetTable,
    GivenTable,
    Length,
    PointTable,
    SurveyTable,
)

LEAST_WIDTH_M: Final = 0.03
MOST_WIDTH_M: Final = 2.0
"""Of a cabinet's front: beyond them the file's ``unit`` isn't that of its figures. Common
practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SurveyFile:
    """A survey file's contents.

    Attributes
    ----------
    lines : mapping of str to int
        The file's line of each observation, by its label.
    """

    path: Path
    survey: Survey
    target: Target
    unit: Unit
    lines: dict[str, int]


def read_survey(path: Path) -> SurveyFile:
    """Read a survey file.

    Raises
    ------
    SurveyFileError
        If it can't be read, misses something, or an observation can't be understood; with the
        line and the observation.
    """
    table = read_toml(
        path,
        SurveyTable,
        error=SurveyFileError,
        what="a survey file",
        hint="`apexline survey --new NEW.toml` writes one to compare with",
    )
    return _Builder(path, table).build()


class _Problem(Exception):
    """What is wrong with one entry of the file: its key, and the text."""

    @property
    def key(self) -> str:
        """The entry."""
        return str(self.args[0])

    def __str__(self) -> str:
        """Return the text."""
        return str(self.args[1])


class _Builder:
    """Turns the table into records; knows at which line an entry stands."""

    def __init__(self, path: Path, table: SurveyTable) -> None:
        self.path, self.table = path, table
        self.text = path.read_text(encoding="utf-8-sig")
        given = table.instruments
        self.std_m = {
            name: usual if text is None else self.length_m(text, f"{name} (instruments)")
            for name, text, usual in (
                ("tape", given.tape, SURVEY_TAPE_STD_M),
                ("laser", given.laser, LASER_STD_M),
                ("equal", given.equal, EQUAL_STD_M),
            )
        }
        for name, std in self.std_m.items():
            if not std > 0:
                msg = f"{path}: the uncertainty of {name} must lie above 0"
                raise SurveyFileError(msg)

    def build(self) -> SurveyFile:
        """Return the file's contents."""
        try:
            survey = self._build_survey()
            target = self._build_target()
        except _Problem as problem:
            line = self.find_line(problem.key)
            where = f"{self.path}, line {line}" if line else str(self.path)
            msg = f"{where}: {problem.key}: {problem}"
            raise SurveyFileError(msg) from problem
        except ValueError as problem:
            msg = f"{self.path}: {problem}; correct it in the file"
            raise SurveyFileError(msg) from problem
        labels = {observation.label for observation in survey.observations}
        found = {label: self.find_line(re.sub(r", reading \d+$", "", label)) for label in labels}
        lines = {label: line for label, line in (self._table_lines() | found).items() if line}
        return SurveyFile(
            path=self.path, survey=survey, target=target, unit=self.table.unit, lines=lines
        )

    def find_line(self, key: str) -> int | None:
        """Return the number of the line at which a key or statement stands."""
        quoted = re.compile(rf"""(^|["'\s]){re.escape(key)}(["'\s=]|$)""")
        for number, line in enumerate(self.text.splitlines(), start=1):
            if not line.lstrip().startswith("#") and quoted.search(line):
                return number
        return None

    def _table_lines(self) -> dict[str, int | None]:
        """Return the lines of heights and widths, which stand in tables of their own."""
        lines = {
            f"height of {name}": self._find_line_in("points", name) for name in self.table.points
        }
        lines["height of head"] = self._find_line_in("head", "height")
        for side in SIDES:
            lines[f"height of {side} tweeter"] = self._find_line_in(side, "tweeter_height")
            lines[f"height of {side} inner"] = self._find_line_in(side, "edge_height")
            lines[f"width of the {side} cabinet"] = self._find_line_in(side, "width")
            lines[f"tweeter of the {side} cabinet"] = self._find_line_in(
                side, "tweeter_from_inner_edge"
            )
        return lines

    def _find_line_in(self, table: str, key: str) -> int | None:
        """Return the number of the line at which a key of a table stands."""
        inside = False
        for number, line in enumerate(self.text.splitlines(), start=1):
            if line.lstrip().startswith("["):
                inside = re.match(rf"\s*\[\s*{table}\s*\]", line) is not None
            elif inside and re.match(rf"""\s*["']?{re.escape(key)}["']?\s*=""", line):
                return number
        return None

    def length_m(self, given: Length, key: str) -> float:
        """Return a length in metres, naming its key where it can't be one."""
        try:
            return parse_length(given, unit=self.table.unit)
        except ValueError as problem:
            raise _Problem(key, str(problem)) from problem

    def height(self, given: Length | GivenTable | None, key: str) -> Height | None:
        """Return a height; by tape where nothing else is said."""
        if given is None:
            return None
        value_m, std_m = self.value_and_std(given, key, self.std_m["tape"])
        return Height(value_m=value_m, std_m=std_m)

    def value_and_std(
        self, given: Length | GivenTable, key: str, std_m: float
    ) -> tuple[float, float]:
        """Return value and sigma in metres."""
        if isinstance(given, GivenTable):
            own = self.length_m(given.std, key)
            if not own > 0:
                raise _Problem(key, "its std must lie above 0")
            return self.length_m(given.value, key), own
        return self.length_m(given, key), std_m

    def _build_survey(self) -> Survey:
        """Return the survey."""
        table = self.table
        marks = tuple(self._build_mark(name, point) for name, point in table.points.items())
        names = [mark.name for mark in marks]
        head = table.head.on_line
        on_line = self.std_m["tape"] if head is True else None
        if isinstance(head, (str, float, int)) and not isinstance(head, bool):
            on_line = self.length_m(head, "on_line")
        room = table.room
        return Survey(
            head=self.height(table.head.height, "height"),
            head_on_line_std_m=on_line,
            cabinets={side: self._build_cabinet(getattr(table, side), side) for side in SIDES},
            line=self._build_centre_line(),
            marks=marks,
            walls=tuple(self._list_walls()),
            furniture=tuple(
                Furniture(
                    name=name,
                    ends=piece.ends,
                    depth_m=None if piece.depth is None else self.length_m(piece.depth, name),
                )
                for name, piece in table.furniture.items()
            ),
            observations=tuple(self._list_observations(names)),
            room_height_m=None if room.height is None else self.length_m(room.height, "height"),
            temperature_c=room.temperature_c,
        )

    def _build_mark(self, name: str, point: Length | PointTable) -> Mark:
        """Return a mark."""
        if re.search(r" to | along | / |=|^height of |^wall |^line$", name) or not name.strip():
            raise _Problem(name, "a point's name can't hold ' to ', ' along ', ' / ' or '='")
        if isinstance(point, PointTable):
            return Mark(name=name, height=self.height(point.height, name), side=point.side)
        return Mark(name=name, height=self.height(point, name))

    def _check_width(self, width_m: float, side: Side) -> None:
        """Refuse a cabinet of a size that only a wrong unit explains."""
        if not LEAST_WIDTH_M <= width_m <= MOST_WIDTH_M:
            limits = f"{LEAST_WIDTH_M * 1e3:.0f} to {MOST_WIDTH_M * 1e3:.0f} mm"
            msg = (
                f"the cabinet would be {width_m * 1e3:.0f} mm wide, where {limits} are taken: "
                f'is unit = "{self.table.unit}" right?'
            )
            key = f"[{side}]"
            raise _Problem(key, msg)

    def _build_cabinet(self, table: CabinetTable, side: Side) -> Cabinet:
        """Return a cabinet."""
        width_m, width_std_m = self.value_and_std(table.width, "width", self.std_m["tape"])
        sizes = {name: self.length_m(getattr(table, name), name) for name in ("depth", "height")}
        if min(width_m, *sizes.values()) <= 0:
            key = f"[{side}]"
            raise _Problem(key, "width, depth and height must lie above 0")
        self._check_width(width_m, side)
        share, share_std_m, key = 0.5, None, "tweeter_from_inner_edge"
        if table.tweeter_from_inner_edge is not None:
            from_m, share_std_m = self.value_and_std(
                table.tweeter_from_inner_edge, key, self.std_m["tape"]
            )
            share = from_m / width_m
            if share > 1:
                raise _Problem(key, "the tweeter can't lie beside the cabinet")
        return Cabinet(
            width_m=width_m,
            width_std_m=width_std_m if table.edges_at_full_width else None,
            depth_m=sizes["depth"],
            height_m=sizes["height"],
            tweeter=self.height(table.tweeter_height, "tweeter_height"),
            edges=self.height(table.edge_height, "edge_height"),
            from_inner=share,
            from_inner_std_m=share_std_m,
            pivot=table.turn_about,
        )

    def _build_centre_line(self) -> CentreLine:
        """Return the centre line."""
        line = self.table.line
        starts = [line.middle_of, (line.start,) if line.start else None, line.equally_far_from]
        given = [start for start in starts if start]
        if len(given) != 1 or bool(line.to) == bool(line.equally_far_from):
            text = (
                'say the centre line in one way: middle_of = ["A", "B"] and to = "C"; '
                'start = "A" and to = "C"; or equally_far_from = ["A", "B"]'
            )
            key = "[line]"
            raise _Problem(key, text)
        return CentreLine(start=given[0], ahead=line.to)

    def _list_walls(self) -> Iterator[Wall]:
        """Yield the walls that the file or an observation names."""
        keys = [*self.table.tape, *self.table.laser]
        for name in WALLS:
            marks = getattr(self.table.walls, name)
            if marks is not None or any(key.endswith(f" to wall {name}") for key in keys):
                yield Wall(name=name, marks=tuple(marks or ()))

    def _list_observations(self, marks: list[str]) -> Iterator[Observation]:
        """Yield the observations."""
        known = {"head", *marks} | {
            f"{s} {p}" for s in SIDES for p in ("inner", "outer", "tweeter")
        }
        for instrument in ("tape", "laser"):
            for key, given in getattr(self.table, instrument).items():
                many = given if isinstance(given, list) else [given]
                if not many:
                    raise _Problem(key, "holds no reading: write one, or put # before the line")
                for number, one in enumerate(many, start=1):
                    value_m, std_m = self.value_and_std(one, key, self.std_m[instrument])
                    label = key if len(many) == 1 else f"{key}, reading {number}"
                    kind, ends = _parse_key(parse_observation, key, known)
                    yield Observation(
                        label=label,
                        kind=kind,
                        ends=ends,
                        value=value_m,
                        std=std_m,
                        instrument=instrument,
                    )
        yield from self._list_statements(known)

    def _list_statements(self, known: set[str]) -> Iterator[Observation]:
        """Yield equal distances and angles."""
        for key in self.table.equal:
            kind, ends = _parse_key(parse_equal_distances, key, known)
            std_m = self.std_m["equal"]
            yield Observation(
                label=key, kind=kind, ends=ends, value=0.0, std=std_m, instrument="equal"
            )
        std = math.radians(self.table.instruments.angle_deg)
        if not std > 0:
            key = "angle_deg"
            raise _Problem(key, "must lie above 0")
        for key, value_deg in self.table.angles.items():
            kind, ends = _parse_key(parse_angle, key, known)
            if not 0 <= value_deg <= 180:
                raise _Problem(key, f"{value_deg:g} must lie from 0 to 180 degrees")
            value = math.radians(value_deg)
            yield Observation(
                label=key, kind=kind, ends=ends, value=value, std=std, instrument="angle"
            )

    def _build_target(self) -> Target:
        """Return the target."""
        given, kept = self.table.target, Target()
        front, within = given.front_wall, given.distance_tolerance
        angle_deg = USUAL_BASE_ANGLE_DEG if given.base_angle_deg is True else given.base_angle_deg
        angle_deg = None if angle_deg is False else angle_deg
        return Target(
            base_angle_deg=angle_deg,
            front_wall_m=None if front is None else self.length_m(front, "front_wall"),
            toe_in_deg=given.toe_in_deg,
            aim_deg=given.aim_deg,
            distance_tolerance_m=kept.distance_tolerance_m
            if within is None
            else self.length_m(within, "distance_tolerance"),
            toe_in_tolerance_deg=kept.toe_in_tolerance_deg
            if given.toe_in_tolerance_deg is None
            else given.toe_in_tolerance_deg,
        )


def _parse_key(parse: Callable[..., KindAndEnds], key: str, known: set[str]) -> KindAndEnds:
    """Return what a line reads, naming it where it can't be understood."""
    try:
        return parse(key, known=known)
    except ValueError as problem:
        raise _Problem(key, str(problem)) from problem
