"""A survey of a pair of loudspeakers by tape and laser: what was measured, between what.

Conventions, in the frame of the survey: the centre line is x = 0; x counts to the right as
seen from the seat, facing the loudspeakers; y counts along the line from its start toward the
rear of the room; z from the floor. Lengths in metres, angles in radians.

Names that are always there: ``head``, and for each side ``left inner``, ``left outer`` (the
front edges of the cabinet at which the tape is held; inner is the one nearer the line) and
``left tweeter``, the *reference point*: on the straight line between the two edges, at the
tweeter's height. Every other name is the person's own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from analysis.survey.observation_equations import Kind

Side = Literal["left", "right"]
SIDES: Final[tuple[Side, Side]] = ("left", "right")

WallName = Literal["front", "left", "right", "rear"]
WALLS: Final[tuple[WallName, ...]] = ("front", "left", "right", "rear")

Pivot = Literal["inner", "outer", "middle", "centre"]
PIVOTS: Final[dict[Pivot, str]] = {
    "inner": "the floor point under its inner front edge",
    "outer": "the floor point under its outer front edge",
    "middle": "the floor point under the middle of its front",
    "centre": "the floor point under the centre of the cabinet",
}
"""About which a cabinet is turned, and how that is said."""

HEAD: Final = "head"
LINE_START: Final = "line start"
LINE_AHEAD: Final = "line ahead"
"""Two nodes that span the centre line, for observations to it."""

SURVEY_TAPE_STD_M: Final = 0.0015
"""One sigma of a distance by tape between two marks of some metres: an EC class II tape may be
off by 0.3 mm and 0.2 mm a metre, holding and reading it adds a millimetre. Common practice."""

LASER_STD_M: Final = 0.001
"""One sigma of a laser distance meter: about 2 mm at 95 % in favourable light by the makers'
use of ISO 16331-1 (second-hand)."""

EQUAL_STD_M: Final = 0.001
"""One sigma of a statement that two distances are equal, found with a string: 1 mm. Common
practice, no source."""

ANGLE_STD_DEG: Final = 0.5
"""One sigma of an angle by protractor or template: common practice, no source."""


def reference_point(place: str) -> str:
    """Return the point by which a place is told.

    Parameters
    ----------
    place : str
        ``left``, ``right``, and ``head`` or ``seat``.

    Examples
    --------
    >>> reference_point("left"), reference_point("seat")
    ('left tweeter', 'head')
    """
    return HEAD if place in (HEAD, "seat") else f"{place} tweeter"


@dataclass(frozen=True, kw_only=True, slots=True)
class Height:
    """A height above the floor, as read.

    Attributes
    ----------
    std_m : float
        One sigma, above 0.
    """

    value_m: float
    std_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """A point with the person's own name.

    Attributes
    ----------
    height : Height or None
        None where nobody read it.
    side : {"left", "right"} or None
        On which side of the centre line it was said to be.
    """

    name: str
    height: Height | None = None
    side: Side | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Cabinet:
    """A loudspeaker as a box, and where tape and laser are held to it.

    Attributes
    ----------
    width_std_m : float or None
        One sigma of the width as an observation between the front edges; None where they aren't
        at the cabinet's full width, and the width is for drawing only.
    edges : Height or None
        At which height the edges were used; None for the tweeter's.
    from_inner : float
        Where the tweeter stands between the edges: 0 at the inner one, 1 at the outer.
    from_inner_std_m : float or None
        One sigma of its distance from the inner edge, as an observation; None where it is in the
        middle by make.
    pivot : {"inner", "outer", "middle", "centre"}
        Point of the floor about which it is turned.
    """

    width_m: float
    depth_m: float
    height_m: float
    width_std_m: float | None = None
    tweeter: Height | None = None
    edges: Height | None = None
    from_inner: float = 0.5
    from_inner_std_m: float | None = None
    pivot: Pivot = "inner"


@dataclass(frozen=True, kw_only=True, slots=True)
class CentreLine:
    """How the centre line is defined.

    Attributes
    ----------
    start : tuple of str
        One mark, or two whose middle is the start.
    ahead : str or None
        The second mark on the line; None makes it the line of points equally far from the
        two marks of `start`.
    """

    start: tuple[str, ...]
    ahead: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Wall:
    """A wall.

    Attributes
    ----------
    marks : tuple of str
        Marks on it, in order: a crooked wall has more than two. Empty for a straight wall
        that is found from the observations to it.
    """

    name: WallName
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Furniture:
    """A piece of furniture, drawn into the plan.

    Attributes
    ----------
    ends : tuple of str
        The marks at the ends of its front.
    """

    name: str
    ends: tuple[str, str]
    depth_m: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Observation:
    """One number that was read.

    Attributes
    ----------
    label : str
        As the person wrote it.
    kind : str
        As in `analysis.survey.adjustment.network.NetworkObservation`.
    ends : tuple of str
        Names of points, in the order of `kind`. For a perpendicular, ``line`` or ``wall NAME``
        may stand for the two points of a line.
    value, std : float
        In metres or radians.
    instrument : str
        ``tape``, ``laser``, ``equal`` or ``angle``; ``box`` for a cabinet's own width.
    """

    label: str
    kind: Kind
    ends: tuple[str, ...]
    value: float
    std: float
    instrument: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Survey:
    """All that was measured.

    Attributes
    ----------
    head : Height or None
        Of the ears.
    head_on_line_std_m : float or None
        How well the head was put on the line, one sigma; None where that isn't said.
    cabinets : mapping of str to Cabinet
        ``left`` and ``right``.
    """

    head: Height | None
    cabinets: dict[Side, Cabinet]
    line: CentreLine
    marks: tuple[Mark, ...]
    observations: tuple[Observation, ...]
    walls: tuple[Wall, ...] = ()
    furniture: tuple[Furniture, ...] = field(default=())
    head_on_line_std_m: float | None = None
    room_height_m: float | None = None
    temperature_c: float | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Every point at which tape or laser may be held."""
        own = [f"{side} {part}" for side in SIDES for part in ("inner", "outer", "tweeter")]
        return (HEAD, *own, *(mark.name for mark in self.marks))

    def __post_init__(self) -> None:
        known = set(self.names)
        if len(known) != len(self.names):
            msg = f"marks must have names of their own, not any of {', '.join(self.names[:7])}"
            raise ValueError(msg)
        movable = {f"{side} {part}" for side in SIDES for part in ("inner", "outer", "tweeter")}
        spanning = [*self.line.start, *((self.line.ahead,) if self.line.ahead else ())]
        if len(set(spanning)) != len(spanning) or movable.intersection(spanning):
            msg = f"the centre line needs different marks, or the head, not {', '.join(spanning)}"
            raise ValueError(msg)
        wanted = [*self.line.start, *((self.line.ahead,) if self.line.ahead else ())]
        wanted += [name for wall in self.walls for name in wall.marks]
        wanted += [name for piece in self.furniture for name in piece.ends]
        for name in wanted:
            if name not in known:
                msg = f"there is no point {name!r}; the points are {', '.join(self.names)}"
                raise ValueError(msg)
