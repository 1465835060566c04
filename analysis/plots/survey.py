"""The plan of a surveyed room, to scale: what stands where, how surely, and where it belongs.

Conventions: the front wall is on top, left is left as seen from the seat. The figure is in
inches of paper at a round scale, which holds where it is printed at full size; it fits A4.
Told by line and shade, not by colour: walls thick, the centre line dash-dotted, cabinets shaded
as they stand, dashed where they belong, error ellipses of one sigma hatched and magnified.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Ellipse, Polygon

from analysis.basics.arrays import Float
from analysis.plots import style
from analysis.survey.result import SurveyResult
from analysis.survey.survey import HEAD, SIDES, Side, WallName
from analysis.survey.triangle import OUTWARD
from analysis.survey.walls import cabinet_corners

PAGE_IN: Final = (7.2, 9.4)
"""Width and height that A4 leaves for the drawing."""

SCALES: Final = (20, 25, 40, 50, 75, 100, 150, 200)
MAGNIFICATIONS: Final = (200, 100, 50, 20, 10, 5, 1)
LARGEST_ELLIPSE_M: Final = 0.25
"""The largest ellipse is drawn with at most this half axis."""

MARGIN_M: Final = 0.35
HEAD_RADIUS_M: Final = 0.09
INCH_M: Final = 0.0254
CAPTION_IN: Final = 0.75

_NEXT: Final[dict[WallName, tuple[WallName, WallName]]] = {
    "front": ("left", "right"),
    "right": ("front", "rear"),
    "rear": ("left", "right"),
    "left": ("front", "rear"),
}


_INWARD_PT: Final[dict[WallName, tuple[tuple[int, int], str]]] = {
    "front": ((0, -8), "center"),
    "rear": ((0, 8), "center"),
    "left": ((7, 0), "left"),
    "right": ((-7, 0), "right"),
}
"""Where the name of a mark on a wall stands, in points, and how it is aligned."""


@style.apply_style
def plan_figure(result: SurveyResult, *, length: Callable[[float], str]) -> Figure:
    """Draw the plan.

    Parameters
    ----------
    length : callable
        Words a length in metres.
    """
    places = result.solution.adjusted.positions_m[:, :2]
    walls = {name: _wall_line(result, name) for name in result.solution.survey_network.segments}
    shown = [places[result.solution.survey_network.node[name]] for name in _named_points(result)]
    shown += [*np.concatenate([_cabinet_corners(result, side) for side in SIDES])]
    extent = np.array([*shown, *[point for line in walls.values() for point in line]])
    low, high = extent.min(axis=0) - MARGIN_M, extent.max(axis=0) + MARGIN_M
    figure, ax, scale = _new_page(low, high)
    for line in walls.values():
        ax.plot(*line.T, color=style.INK, linewidth=2.2, solid_capstyle="round", zorder=2)
    _draw_furniture(ax, result)
    ax.plot([0, 0], [low[1], high[1]], color="0.35", linewidth=0.8, linestyle=(0, (9, 3, 1, 3)))
    for side in SIDES:
        _draw_cabinet(ax, result, side, high)
    _draw_head(ax, result)
    _draw_distances(ax, result, length)
    _draw_marks(ax, result)
    magnified = _draw_ellipses(ax, result)
    _draw_caption(figure, ax, result, scale, magnified)
    return figure


def _new_page(low: Float, high: Float) -> tuple[Figure, Axes, int]:
    """Return a figure whose axes show the room at the largest round scale that fits."""
    size_in = (high - low) / INCH_M
    free_in = np.array(PAGE_IN) - (0.2, CAPTION_IN + 0.2)
    scale = next((one for one in SCALES if np.all(size_in / one <= free_in)), SCALES[-1])
    width_in, height_in = size_in / scale
    page_in = max(width_in, 5.4) + 0.2, height_in + CAPTION_IN + 0.2
    figure = Figure(figsize=page_in)
    left = (page_in[0] - width_in) / 2 / page_in[0]
    bottom = CAPTION_IN / page_in[1]
    ax = figure.add_axes((left, bottom, width_in / page_in[0], height_in / page_in[1]))
    ax.set_xlim(low[0], high[0])
    ax.set_ylim(high[1], low[1])
    ax.set_axis_off()
    return figure, ax, scale


def _named_points(result: SurveyResult) -> list[str]:
    """Return the points that the person named, and the head."""
    return [HEAD, *(mark.name for mark in result.solution.survey_network.survey.marks)]


def _cabinet_corners(result: SurveyResult, side: Side, *, after: bool = False) -> Float:
    """Return a cabinet's corners, shape (4, 2)."""
    survey_network = result.solution.survey_network
    places = result.plan.positions_m if after else result.solution.adjusted.positions_m
    return cabinet_corners(
        places, survey_network.node, side, survey_network.survey.cabinets[side].depth_m
    )


def _wall_line(result: SurveyResult, name: WallName) -> Float:
    """Return a wall's points, its ends prolonged to its neighbours."""
    survey_network, places = (
        result.solution.survey_network,
        result.solution.adjusted.positions_m[:, :2],
    )
    parts = survey_network.segments[name]
    line = [places[parts[0][0]], *(places[part[1]] for part in parts)]
    axis = 0 if name in ("front", "rear") else 1
    if line[-1][axis] < line[0][axis]:
        line = line[::-1]
    for end, neighbour in zip((0, -1), _NEXT[name], strict=True):
        other = survey_network.segments.get(neighbour)
        if other is not None:
            inner = line[1] if end == 0 else line[-2]
            near = _nearest_part(other, places, line[end])
            line[end] = _intersect_lines(inner, line[end], places[near[0]], places[near[1]])
    return np.array(line)


def _nearest_part(
    parts: tuple[tuple[int, int], ...], places: Float, point: Float
) -> tuple[int, int]:
    """Return the part of a wall one of whose ends is nearest to a point."""
    return min(parts, key=lambda part: min(float(np.linalg.norm(places[k] - point)) for k in part))


def _intersect_lines(a: Float, b: Float, c: Float, d: Float) -> Float:
    """Return where the lines a to b and c to d cross; b where they are parallel."""
    first, second, away = b - a, d - c, c - a
    cross = first[0] * second[1] - first[1] * second[0]
    if abs(cross) < 1e-6:
        return b
    return np.asarray(a + (away[0] * second[1] - away[1] * second[0]) / cross * first)


def _draw_furniture(ax: Axes, result: SurveyResult) -> None:
    """Draw furniture as boxes behind their fronts."""
    for piece in result.solution.survey_network.survey.furniture:
        first, second = (result.solution.place_m(name)[:2] for name in piece.ends)
        front = second - first
        back = np.array([-front[1], front[0]]) / np.linalg.norm(front) * (piece.depth_m or 0.3)
        if back[1] > 0:
            back = -back
        corners = [first, second, second + back, first + back]
        ax.add_patch(
            Polygon(corners, closed=True, facecolor="0.94", edgecolor="0.5", linewidth=0.8)
        )
        middle = np.mean(corners, axis=0)
        ax.text(
            float(middle[0]),
            float(middle[1]),
            piece.name,
            ha="center",
            va="center",
            fontsize=style.SMALL_PT,
        )


def _draw_cabinet(ax: Axes, result: SurveyResult, side: Side, high: Float) -> None:
    """Draw a cabinet as it stands, its axis, and where it belongs."""
    corners = _cabinet_corners(result, side)
    ax.add_patch(
        Polygon(
            corners, closed=True, facecolor="0.75", edgecolor=style.INK, linewidth=1.0, zorder=3
        )
    )
    ax.plot(*corners[:2].T, color=style.INK, linewidth=2.2, zorder=3.5)
    tweeter = result.solution.place_m(f"{side} tweeter")[:2]
    axis = corners[1] - corners[2]
    axis = axis / np.linalg.norm(axis)
    far = tweeter + axis * (high[1] - tweeter[1]) / max(axis[1], 0.2)
    ax.plot(*np.array([tweeter, far]).T, color="0.55", linewidth=0.6, linestyle=":", zorder=1)
    ax.plot(*tweeter, marker="o", markersize=2.5, color="black", zorder=5)
    _write_slide(ax, result, side)
    if result.plan.goal is not None:
        ax.add_patch(
            Polygon(
                _cabinet_corners(result, side, after=True),
                closed=True,
                fill=False,
                edgecolor="black",
                linewidth=0.9,
                linestyle=(0, (4, 2)),
                zorder=4,
            )
        )


def _write_slide(ax: Axes, result: SurveyResult, side: Side) -> None:
    """Write how far a cabinet has to slide, outside the line from it to the head."""
    tweeter, head = (result.solution.place_m(name)[:2] for name in (f"{side} tweeter", HEAD))
    for move in result.plan.moves:
        if move.kind != "slide" or move.what != side:
            continue
        ways = (
            (move.toward_wall_m, "to the wall", "into room"),
            (move.outward_m, "outward", "inward"),
        )
        text = "\n".join(
            f"{abs(value) * 1e3:.0f} mm {plus if value > 0 else minus}"
            for value, plus, minus in ways
            if abs(value) >= 5e-4
        )
        place = tweeter + 0.36 * (head - tweeter) + np.array([OUTWARD[side] * 0.06, 0.0])
        _label(ax, place, text, align="right" if side == "left" else "left")


def _draw_head(ax: Axes, result: SurveyResult) -> None:
    """Draw the head, and where it belongs if it has to move."""
    head = result.solution.place_m(HEAD)[:2]
    ax.add_patch(
        Circle(tuple(head), HEAD_RADIUS_M, facecolor="white", edgecolor=style.INK, zorder=3)
    )
    ax.plot(*head, marker="+", markersize=6, color=style.INK, zorder=4)
    after = result.plan.positions_m[result.solution.survey_network.node[HEAD], :2]
    if float(np.linalg.norm(after - head)) > 1e-6:
        ax.add_patch(
            Circle(tuple(after), HEAD_RADIUS_M, fill=False, linestyle=(0, (4, 2)), zorder=4)
        )


def _draw_distances(ax: Axes, result: SurveyResult, length: Callable[[float], str]) -> None:
    """Draw the triangle with its distances."""
    head = result.solution.place_m(HEAD)[:2]
    tweeters = {side: result.solution.place_m(f"{side} tweeter")[:2] for side in SIDES}
    triangle = result.triangle
    lines = [
        (tweeters["left"], head, triangle.distance_m.left, 0.5),
        (tweeters["right"], head, triangle.distance_m.right, 0.5),
        (tweeters["left"], tweeters["right"], triangle.base_width_m, 0.3),
    ]
    for first, second, found, share in lines:
        ax.plot(*np.array([first, second]).T, color="0.3", linewidth=0.7, zorder=1.5)
        if found.value is None:
            continue
        along = second - first
        turn = float(np.degrees(np.arctan2(-along[1], along[0])))
        turn = turn - 180 if turn > 90 else turn + 180 if turn < -90 else turn
        _label(ax, first + share * along, length(found.value), rotation=turn)


def _label(
    ax: Axes, place: Float, text: str, *, rotation: float = 0.0, align: str = "center"
) -> None:
    """Write on the drawing, on a white ground."""
    ax.text(
        float(place[0]),
        float(place[1]),
        text,
        ha=align,
        va="center",
        fontsize=style.SMALL_PT,
        color=style.INK,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        zorder=1.8,
        rotation_mode="anchor",
        rotation=rotation,
    )


def _draw_marks(ax: Axes, result: SurveyResult) -> None:
    """Draw the person's marks and their names, those of walls inside the room."""
    survey = result.solution.survey_network.survey
    inward = {mark: _INWARD_PT[wall.name] for wall in survey.walls for mark in wall.marks}
    for mark in survey.marks:
        place = result.solution.place_m(mark.name)[:2]
        ax.plot(*place, marker="x", markersize=4, color=style.INK, zorder=4)
        shift, align = inward.get(mark.name, ((0, -8), "center"))
        ax.annotate(
            mark.name,
            tuple(place),
            xytext=shift,
            textcoords="offset points",
            ha=align,
            va="center",
            fontsize=style.SMALL_PT - 1,
            color="0.3",
            zorder=6,
        )


def _draw_ellipses(ax: Axes, result: SurveyResult) -> int:
    """Draw the error ellipses of one sigma; return how much they are magnified."""
    names = [*_named_points(result), *(f"{side} tweeter" for side in SIDES)]
    shapes = []
    for name in names:
        if name in result.solution.open_nodes:
            continue
        values, vectors = np.linalg.eigh(result.solution.place_covariance(name)[:2, :2])
        half = np.sqrt(np.maximum(values, 0.0))
        shapes.append((result.solution.place_m(name)[:2], half, vectors[:, 1]))
    largest = max((float(half[1]) for _, half, _ in shapes), default=0.0)
    magnified = next((m for m in MAGNIFICATIONS if m * largest <= LARGEST_ELLIPSE_M), 1)
    for place, half, direction in shapes:
        ax.add_patch(
            Ellipse(
                tuple(place),
                2 * magnified * half[1],
                2 * magnified * half[0],
                angle=float(np.degrees(np.arctan2(direction[1], direction[0]))),
                facecolor="none",
                edgecolor="0.35",
                linewidth=0.7,
                hatch="////",
                alpha=0.6,
                zorder=3.2,
            )
        )
    return magnified


def _draw_caption(
    figure: Figure, ax: Axes, result: SurveyResult, scale: int, magnified: int
) -> None:
    """Say the scale, and what the lines mean; draw a metre."""
    width_in, height_in = figure.get_size_inches()
    texts = [
        f"Scale 1:{scale} where printed at full size. "
        f"Error ellipses: one sigma, {magnified} times enlarged.",
        "Grey: cabinets as they stand. Dash-dotted: centre line. Dotted: axes."
        + ("" if result.plan.goal is None else " Dashed: where they belong."),
    ]
    for k, text in enumerate(texts):
        at = 0.12 / width_in, (0.34 - 0.16 * k) / height_in
        figure.text(*at, text, fontsize=style.SMALL_PT - 0.5, color=style.INK, va="center")
    bar = figure.add_axes(
        (0.12 / width_in, 0.5 / height_in, 1 / INCH_M / scale / width_in, 0.08 / height_in)
    )
    bar.set_axis_off()
    bar.set_xlim(0, 1)
    bar.set_ylim(0, 1)
    bar.plot([0, 0, 1, 1], [1, 0, 0, 1], color=style.INK, linewidth=1.0, clip_on=False)
    bar.text(1.03, 0.3, "1 m", fontsize=style.SMALL_PT, va="center")
    ax.set_label("plan")
