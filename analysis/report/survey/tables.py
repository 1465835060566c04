"""The figures of a survey as tables: the triangle, the walls, how observations check each other.

Conventions: as in `analysis.report.survey.verdict`.
"""

from __future__ import annotations

import math

from analysis.report import format as fmt
from analysis.report.survey.verdict import Length, millimetres
from analysis.survey.checkability import Uncheckable
from analysis.survey.propagation import Estimate
from analysis.survey.result import SurveyResult


def figure_lines(result: SurveyResult, *, length: Length = millimetres) -> list[str]:
    """Return the triangle as a table."""
    triangle = result.triangle
    rows: list[tuple[str, ...]] = [("", "left", "right", "left − right")]
    for name, pair in (
        ("distance to the head", triangle.distance_m),
        ("offset from the centre line", triangle.offset_m),
        ("depth along it", triangle.depth_m),
        ("tweeter above the ear", triangle.height_m),
    ):
        sides = _length_text(pair.left, length), _length_text(pair.right, length)
        rows.append((name, *sides, _difference_text(pair.left_minus_right)))
    for name, pair in (
        ("toe-in", triangle.toe_in_rad),
        ("aim (crossing before the head +)", triangle.aim_rad),
    ):
        angles = map(_angle_text, (pair.left, pair.right, pair.left_minus_right))
        rows.append((name, *angles))
    said = fmt.table(rows, right=(1, 2, 3))
    ratio = triangle.seat_ratio
    shown = "unknown" if ratio.value is None else f"{ratio.value:.4f} ± {ratio.std:.4f}"
    return [
        *said,
        f"base {_length_text(triangle.base_width_m, length)}, angle at the head "
        f"{_angle_text(triangle.apex_angle_rad)}, distance over base {shown}",
        _head_line(triangle.seat_offset_m),
    ]


def _head_line(offset_m: Estimate) -> str:
    """Return where the head is beside the line; a line laid through it needs no figure."""
    if offset_m.value is not None and offset_m.std is not None and offset_m.std < 1e-5:
        return "head on the centre line, which was laid through it"
    return f"head {_difference_text(offset_m)} to the right of the centre line"


def wall_lines(result: SurveyResult, *, length: Length = millimetres) -> list[str]:
    """Return the walls: distances of each cabinet, how square and how straight.

    Returns
    -------
    list of str
        Empty without walls.
    """
    walls = result.walls
    if not walls.shapes:
        return []
    rows: list[tuple[str, ...]] = [("wall", "left tweeter", "right tweeter", "head", "skew")]
    for k, shape in enumerate(walls.shapes):
        cells = [
            _length_text(one.reference_m, length)
            for one in (walls.cabinets["left"][k], walls.cabinets["right"][k], walls.head[k])
        ]
        rows.append((shape.wall, *cells, _angle_text(shape.skew_rad)))
    said = fmt.table(rows, right=(1, 2, 3, 4))
    for pair, off in walls.corners_rad.items():
        if off.value is not None and off.std is not None:
            angle = _angle_text(off, sign=True)
            spaced = angle.replace("+", "+ ").replace(fmt.MINUS, fmt.MINUS + " ")
            said.append(f"corner of {pair[0]} and {pair[1]} wall: 90° {spaced}")
    for shape in walls.shapes:
        if shape.bend_m is not None and shape.bend_m.value is not None:
            way = "into the room" if shape.bend_m.value > 0 else "away from the room"
            said.append(
                f"the {shape.wall} wall is bent: {shape.bend_mark} lies "
                f"{fmt.mm(abs(shape.bend_m.value), shape.bend_m.std)} {way} from straight"
            )
    return said


def reliability_lines(result: SurveyResult) -> list[str]:
    """Return how well the observations check each other, and what to add."""
    adjusted = result.solution.adjusted
    said = [
        f"{int(adjusted.active.sum())} readings for {adjusted.network.n_unknowns} unknowns: "
        f"{adjusted.degrees_of_freedom} more than needed"
    ]
    factor, limits = adjusted.variance_factor, adjusted.variance_factor_range
    if factor is not None and limits is not None:
        said.append(
            f"variance factor {factor:.2f} (95 of 100 clean surveys: {limits[0]:.2f} to "
            f"{limits[1]:.2f})"
        )
    return said + _unchecked_lines(result.uncheckable)


def _unchecked_lines(uncheckable: tuple[Uncheckable, ...]) -> list[str]:
    """Return what nothing checks and what to add; heights, read once each, in one sentence."""
    heights = [one for one in uncheckable if one.kind == "height"]
    rest = [one for one in uncheckable if one.kind != "height"]
    said = ["nothing would show an error in:"] if rest else []
    said += [
        f"  {one.label}: " + ("read it once more" if one.again else f"add {one.add}")
        for one in rest
    ]
    if heights:
        said += fmt.wrapped(
            "nothing checks these heights, read them twice: "
            + ", ".join(one.label.removeprefix("height of ") for one in heights),
            hanging=2,
        )
    return said


def _length_text(estimate: Estimate, length: Length) -> str:
    """Return a distance with its sigma."""
    if estimate.value is None or estimate.std is None:
        return "unknown"
    return f"{length(estimate.value)} ± {estimate.std * 1e3:.1f} mm".replace("-", fmt.MINUS)


def _difference_text(estimate: Estimate) -> str:
    """Return a small distance with its sigma."""
    if estimate.value is None:
        return "unknown"
    return fmt.mm(estimate.value, estimate.std)


def _angle_text(estimate: Estimate, *, sign: bool = False) -> str:
    """Return an angle in degrees with its sigma."""
    if estimate.value is None or estimate.std is None:
        return "unknown"
    value, std = math.degrees(estimate.value), math.degrees(estimate.std)
    return f"{fmt.number(value, places=2, sign=sign)} ± {std:.2f}°"
