"""The tables of a survey file: which keys there are, and what kind of thing each holds."""

from __future__ import annotations

import msgspec

from analysis.survey.survey import ANGLE_STD_DEG, Pivot, Side
from measure.survey.lengths import Unit

Length = float | str


class GivenTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """An observation with its own uncertainty."""

    value: Length
    std: Length


Value = Length | GivenTable | list[Length]


class InstrumentsTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[instruments]``: one sigma of each."""

    tape: Length | None = None
    laser: Length | None = None
    equal: Length | None = None
    angle_deg: float = ANGLE_STD_DEG


class HeadTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[head]``."""

    height: Length | GivenTable | None = None
    on_line: bool | Length = False


class LineTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[line]``: the centre line, in one of three ways."""

    middle_of: tuple[str, str] | None = None
    start: str | None = None
    to: str | None = None
    equally_far_from: tuple[str, str] | None = None


class CabinetTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The tables ``[left]`` and ``[right]``."""

    width: Length | GivenTable
    depth: Length
    height: Length
    tweeter_height: Length | GivenTable | None = None
    edge_height: Length | GivenTable | None = None
    tweeter_from_inner_edge: Length | GivenTable | None = None
    edges_at_full_width: bool = True
    turn_about: Pivot = "inner"


class PointTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """A point with more than its height."""

    height: Length | GivenTable | None = None
    side: Side | None = None


class FurnitureTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """A piece of furniture."""

    ends: tuple[str, str]
    depth: Length | None = None


class WallsTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[walls]``: the marks on each, in order."""

    front: list[str] | None = None
    left: list[str] | None = None
    right: list[str] | None = None
    rear: list[str] | None = None


class TargetTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[target]``."""

    base_angle_deg: bool | float | None = None
    front_wall: Length | None = None
    toe_in_deg: float | None = None
    aim_deg: float | None = None
    distance_tolerance: Length | None = None
    toe_in_tolerance_deg: float | None = None


class RoomTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The table ``[room]``."""

    height: Length | None = None
    temperature_c: float | None = None


class SurveyTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The whole file."""

    line: LineTable
    left: CabinetTable
    right: CabinetTable
    head: HeadTable = msgspec.field(default_factory=HeadTable)
    unit: Unit = "mm"
    instruments: InstrumentsTable = msgspec.field(default_factory=InstrumentsTable)
    points: dict[str, Length | PointTable] = msgspec.field(default_factory=dict)
    walls: WallsTable = msgspec.field(default_factory=WallsTable)
    furniture: dict[str, FurnitureTable] = msgspec.field(default_factory=dict)
    tape: dict[str, Value] = msgspec.field(default_factory=dict)
    laser: dict[str, Value] = msgspec.field(default_factory=dict)
    equal: list[str] = msgspec.field(default_factory=list)
    angles: dict[str, float] = msgspec.field(default_factory=dict)
    target: TargetTable = msgspec.field(default_factory=TargetTable)
    room: RoomTable = msgspec.field(default_factory=RoomTable)
