"""One line of a survey file: which observation, between which points.

::

    rack left to left inner         a distance, heights included
    left tweeter to line            from the centre line, square to it, in plan
    left tweeter to wall front      from a wall
    left tweeter to line A / B      from the line through two points
    left tweeter along line         along the centre line from its start
    left tweeter along A / B        along another line, from A toward B
    height of A                     above the floor
    head to A = head to B           two distances are equal
    A / head / B                    the angle at the head, in plan
"""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from difflib import get_close_matches

from analysis.survey.observation_equations import Kind
from analysis.survey.survey import LINE_AHEAD, LINE_START, WALLS

KindAndEnds = tuple[Kind, tuple[str, ...]]
"""Kind and points, as in `analysis.survey.survey.Observation`."""


def parse_observation(key: str, *, known: AbstractSet[str]) -> KindAndEnds:
    """Return what a line reads.

    Parameters
    ----------
    key : str
        As the module's docstring shows.
    known : set of str
        Names of the points.

    Returns
    -------
    kind : str
    ends : tuple of str

    Raises
    ------
    ValueError
        If it isn't understood, or names a point that isn't there.
    """
    words = " ".join(key.split())
    if words.startswith("height of "):
        return "height", (_require_point(words.removeprefix("height of "), known),)
    if " along " in words:
        first, _, line = words.partition(" along ")
        return "along", (_require_point(first, known), *_parse_line(line, known))
    first, found, second = words.partition(" to ")
    if not found:
        msg = "isn't understood: write it as 'A to B', 'A to line', 'A to wall front', "
        msg += "'A along line' or 'height of A'"
        raise ValueError(msg)
    start = _require_point(first, known)
    if second.startswith("wall "):
        wall = second.removeprefix("wall ")
        if wall not in WALLS:
            msg = f"there is no wall {wall!r}; the walls are {', '.join(WALLS)}"
            raise ValueError(msg)
        return "perpendicular", (start, second)
    if second == "line":
        return "perpendicular", (start, "line")
    if second.startswith("line "):
        return "perpendicular", (start, *_parse_line(second.removeprefix("line "), known))
    end = _require_point(second, known)
    if end == start:
        msg = "a distance needs two different points"
        raise ValueError(msg)
    return "distance", (start, end)


def parse_equal_distances(key: str, *, known: AbstractSet[str]) -> KindAndEnds:
    """Return the points of a statement ``A to B = C to D``.

    Raises
    ------
    ValueError
        If it isn't understood, or names a point that isn't there.
    """
    sides = key.split("=")
    pairs = [" ".join(side.split()).split(" to ") for side in sides]
    if len(pairs) != 2 or any(len(pair) != 2 for pair in pairs):
        msg = "isn't understood: write it as 'A to B = C to D'"
        raise ValueError(msg)
    return "equal", tuple(_require_point(name, known) for pair in pairs for name in pair)


def parse_angle(key: str, *, known: AbstractSet[str]) -> KindAndEnds:
    """Return the points of an angle ``A / corner / B``.

    Raises
    ------
    ValueError
        If it isn't understood, or names a point that isn't there.
    """
    names = [" ".join(name.split()) for name in key.split("/")]
    if len(names) != 3:
        msg = "isn't understood: write an angle as 'A / corner / B'"
        raise ValueError(msg)
    return "angle", tuple(_require_point(name, known) for name in names)


def _parse_line(text: str, known: AbstractSet[str]) -> tuple[str, str]:
    """Return the two points of a line."""
    if text == "line":
        return LINE_START, LINE_AHEAD
    names = [" ".join(name.split()) for name in text.split("/")]
    if len(names) != 2:
        msg = "isn't understood: write a line as 'line', or as two points 'A / B'"
        raise ValueError(msg)
    return _require_point(names[0], known), _require_point(names[1], known)


def _require_point(name: str, known: AbstractSet[str]) -> str:
    """Return a point's name, refused where there is none such."""
    if name in known:
        return name
    msg = f"there is no point {name!r}{suggest_name(name, known)}"
    raise ValueError(msg)


def suggest_name(name: str, known: AbstractSet[str]) -> str:
    """Return a hint for a mistyped name, or what the names are."""
    near = get_close_matches(name, sorted(known), n=1)
    if near:
        return f"; did you mean {near[0]!r}?"
    return f"; the points are {', '.join(sorted(known))}"
