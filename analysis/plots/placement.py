"""Where to stand: level over frequency and distance, predicted on measured, and the plan.

Conventions: levels are about each place's slowly falling line; colours are perceptually even
(viridis), light is loud. The chosen interval is marked in the same dark blue everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from analysis.basics.arrays import Float
from analysis.basics.decibel import power_db
from analysis.placement.band_levels import CENTRES_HZ, FREQUENCY_HZ
from analysis.placement.choice import Placement
from analysis.placement.fit.parameters import losses_with, offsets_with, pair_levels, scale_with
from analysis.placement.fit.room_fit import MeasuredPlace, RoomFit
from analysis.placement.places import front_wall_y_m
from analysis.placement.response.room_response import RoomModel, pressure
from analysis.plots import style
from analysis.room.floor_plan import Footprint
from analysis.room.reflections import reflections
from analysis.room.room import Point, Positions, Room

MARK: Final = "#12355b"
RANGE_DB: Final = (-15.0, 12.0)
LEAST_MODE: Final = 0.1
"""Modes whose coupling is weaker at all distances aren't named in the map."""


@style.apply_style
def map_figure(
    model: RoomModel,
    placement: Placement,
    positions: Positions,
    *,
    offsets: Float | None = None,
) -> Figure:
    """Draw the level of both loudspeakers over frequency and front distance.

    Parameters
    ----------
    offsets : ndarray, shape (11,), optional
        Fitted parameters.

    Returns
    -------
    Figure
        With the modes of the plan (under a slope of the upright section) marked below, the
        front wall's first cancellation as a line, and the evenness beside.
    """
    best = placement.choices[0]
    places = placement.places
    same = (places.half_spread_m == best.half_spread_m) & (places.seat_m == best.seat_m)
    row = np.flatnonzero(same)
    row = row[np.argsort(places.front_wall_m[row])]
    first = offsets_with() if offsets is None else offsets
    total = sum(
        pressure(
            model,
            side[row],
            places.listener_m[row],
            FREQUENCY_HZ,
            losses=losses_with(model, first),
            scale=scale_with(first),
        )
        for side in (places.left_m, places.right_m)
    )
    level = power_db(np.abs(np.asarray(total)) ** 2)
    level = level - np.mean(level, axis=0)
    title = f"Bass over the distance from the front wall (head at {best.seat_m:.2f} m)"
    figure, (ax, side_ax) = style.make_panels([2.9, 1.25], title=title, bottom_in=0.6, gap_in=0.75)
    distance_m = places.front_wall_m[row]
    _draw_map(figure, ax, distance_m, level)
    _draw_causes(ax, model, placement, positions, row)
    for choice in placement.choices[:1]:
        ax.axhline(choice.front_wall_m, color="white", linewidth=1.4)
        ax.axhline(choice.front_wall_m, color=MARK, linewidth=0.7)
    _draw_evenness(side_ax, placement, row)
    return figure


def _draw_map(figure: Figure, ax: Axes, distance_m: Float, level: Float) -> None:
    """Draw the levels as colours."""
    step = 0.5 * (distance_m[1] - distance_m[0]) if distance_m.size > 1 else 0.05
    style.set_bass_axis(ax, low_hz=25.0, high_hz=200.0, label=True)
    ax.grid(visible=False)
    mesh = ax.pcolormesh(
        FREQUENCY_HZ,
        distance_m,
        np.asarray(level).T,
        cmap="viridis",
        vmin=RANGE_DB[0],
        vmax=RANGE_DB[1],
        shading="nearest",
        rasterized=True,
    )
    ax.set_xlim(25.0, 200.0)
    ax.set_ylim(distance_m[0] - step, distance_m[-1] + step)
    ax.set_ylabel("From front wall (m)")
    box = ax.get_position()
    bar = figure.add_axes((box.x0 + 0.62 * box.width, box.y1 + 0.012, 0.38 * box.width, 0.014))
    figure.colorbar(mesh, cax=bar, orientation="horizontal")
    bar.set_xticks([-10.0, 0.0, 10.0])
    bar.xaxis.set_ticks_position("top")
    bar.tick_params(labelsize=style.SMALL_PT, pad=1, length=2)
    bar.set_title("dB", fontsize=style.SMALL_PT, loc="left", x=-0.1, y=-1.2)


def _draw_causes(
    ax: Axes, model: RoomModel, placement: Placement, positions: Positions, row: np.ndarray
) -> None:
    """Mark the plan's modes, and where the front wall cancels."""
    places = placement.places
    c = model.speed_of_sound_m_s
    if model.flat is not None and model.section is not None:
        across = list(model.section.across)
        at_hz = model.flat.wavenumber_rad_m * c / (2 * np.pi)
        seat = model.flat.shapes_at(places.listener_m[row][:1, across])
        drive = sum(
            model.flat.shapes_at(side[row][:, across]) for side in (places.left_m, places.right_m)
        )
        strong = np.abs(0.5 * np.asarray(drive) * seat).max(axis=0) >= LEAST_MODE
        for one_hz in at_hz[strong & (at_hz > 25) & (at_hz < 200)]:
            ax.plot([one_hz, one_hz], [0, 0.035], transform=ax.get_xaxis_transform(), color="white")
    cancelled = []
    for k in row:
        x, y, z = places.left_m[k]
        listener = Point(
            x_m=float(places.listener_m[k, 0]),
            y_m=float(places.listener_m[k, 1]),
            z_m=positions.seat.z_m,
        )
        found = reflections(model.room, Point(x_m=float(x), y_m=float(y), z_m=float(z)), listener)
        front = [one for one in found if one.surface == "front"]
        cancelled.append(front[0].cancellations_hz(speed_of_sound_m_s=c)[0] if front else np.nan)
    ax.plot(cancelled, places.front_wall_m[row], color="white", linestyle=":", linewidth=1.2)
    title = "ticks: modes, dots: front wall cancels"
    ax.set_title(title, loc="left", fontsize=style.SMALL_PT)


def _draw_evenness(ax: Axes, placement: Placement, row: np.ndarray) -> None:
    """Draw the evenness over the distance, with its spread, and the chosen interval."""
    distance_m = placement.places.front_wall_m[row]
    drawn = placement.evenness_draws_with_error_db[:, row]
    low, high = np.percentile(drawn, [10, 90], axis=0)
    ax.fill_between(distance_m, low, high, color="0.85", label="8 of 10 rooms like this")
    ax.plot(distance_m, placement.evenness_db[row], color=MARK, label="median")
    start, stop = placement.choices[0].interval_m
    ax.axvspan(start - 0.01, stop + 0.01, color=MARK, alpha=0.15, label="advised")
    ax.set_xlabel("From front wall (m)")
    ax.set_ylabel("Evenness (dB)")
    ax.set_title("how even it is there (less is better)", loc="left", fontsize=style.SMALL_PT)
    ax.grid(visible=True, color=style.GRID, linewidth=0.5)
    ax.legend(loc="upper right", ncols=3, fontsize=style.SMALL_PT)
    ax.set_ylim(0, 1.45 * float(high.max()))
    ax.set_xlim(distance_m[0] - 0.02, distance_m[-1] + 0.02)
    shown = [at for at in ax.get_xticks() if distance_m[0] <= at <= distance_m[-1]]
    ax.set_xticks(shown)


@style.apply_style
def fit_figure(model: RoomModel, measured: Sequence[MeasuredPlace], fit: RoomFit) -> Figure:
    """Draw measured levels with the unfitted and the fitted prediction over them.

    Parameters
    ----------
    measured : sequence of MeasuredPlace
        The first four are drawn.
    """
    shown = list(measured[:4])
    figure, axes = style.make_panels(
        [1.5] * len(shown), title="Measured and predicted bass, left loudspeaker", bottom_in=0.8
    )
    plain = offsets_with()
    for place, ax in zip(shown, axes, strict=True):
        style.set_bass_axis(ax, low_hz=25.0, high_hz=200.0, label=place is shown[-1])
        at = place.left_m[np.newaxis], place.right_m[np.newaxis], place.seat_m[np.newaxis]
        curves = [pair_levels(model, *at, one).left_db[:, 0] for one in (plain, fit.offsets)]
        looks: tuple[dict[str, Any], ...] = (
            {"color": "0.6", "linestyle": ":"},
            {"color": "#d1751c", "linestyle": "--"},
        )
        ax.plot(CENTRES_HZ, _subtract_mean(place.left_db), color=MARK, label="measured")
        for curve, look, name in zip(curves, looks, ("unfitted", "fitted"), strict=True):
            ax.plot(CENTRES_HZ, _subtract_mean(curve), label=name, **look)
        for at_hz in CENTRES_HZ[fit.trusted == 0]:
            ax.axvspan(at_hz * 2 ** (-1 / 12), at_hz * 2 ** (1 / 12), color="0.9", zorder=0)
        ax.set_ylabel("Level (dB)")
        ax.set_title(
            f"loudspeaker at y = {place.left_m[1]:.2f} m, microphone {place.seat_m[1]:.2f} m"
        )
    handles, labels = axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="lower left", ncols=3)
    return figure


def _subtract_mean(levels_db: Float) -> Float:
    """Return levels about their mean."""
    return np.asarray(levels_db - np.nanmean(levels_db))


@style.apply_style
def plan_figure(room: Room, placement: Placement, *, furniture: Sequence[Footprint] = ()) -> Figure:
    """Draw the floor plan with the advised interval."""
    low_x, low_y, high_x, high_y = room.plan.bounds_m
    width_in = style.WIDTH_IN - 1.2
    height_in = min(width_in * (high_y - low_y) / (high_x - low_x), 6.0)
    figure, (ax,) = style.make_panels([height_in], title="The advised places", bottom_in=0.9)
    ax.add_patch(Polygon(room.plan.array, closed=True, facecolor="0.97", edgecolor=style.INK))
    for one in furniture:
        size = one.x_m[1] - one.x_m[0], one.y_m[1] - one.y_m[0]
        ax.add_patch(Rectangle((one.x_m[0], one.y_m[0]), *size, facecolor="0.85", edgecolor="0.6"))
    _draw_choices(ax, front_wall_y_m(room.plan), placement)
    ax.set_aspect("equal")
    ax.set_title("bars: as even as at the mark", loc="left", fontsize=style.SMALL_PT)
    ax.set_xticks(np.arange(np.ceil(low_x), high_x + 1e-9))
    ax.set_yticks(np.arange(np.ceil(low_y), high_y + 1e-9))
    ax.set_xlim(low_x - 0.1, high_x + 0.1)
    ax.set_ylim(high_y + 0.1, low_y - 0.1)
    ax.set_xlabel("From the left (m)")
    ax.set_ylabel("From the front (m)")
    figure.legend(loc="lower left", ncols=2, markerscale=0.6)
    return figure


def _draw_choices(ax: Axes, line_m: float, placement: Placement) -> None:
    """Mark each choice, with a bar over the front distances that are as even."""
    places = placement.places
    # Hollow and ever larger, so that choices at one place are all seen.
    looks = (("o", 7.0), ("s", 10.0), ("^", 14.0), ("v", 17.0))
    for choice, (mark, size_pt) in zip(placement.choices, looks, strict=False):
        k = choice.index
        low, high = (line_m + value for value in choice.interval_m)
        dark = choice is placement.choices[0]
        color = MARK if dark else "0.4"
        for x in (places.left_m[k, 0], places.right_m[k, 0]):
            ax.plot([x, x], [low, high], color=color, linewidth=6, alpha=0.3)
        ax.plot(
            [places.left_m[k, 0], places.right_m[k, 0], places.listener_m[k, 0]],
            [places.left_m[k, 1], places.right_m[k, 1], places.listener_m[k, 1]],
            marker=mark,
            markersize=size_pt,
            markerfacecolor=MARK if dark else "none",
            markeredgecolor=color,
            linestyle="",
            zorder=3 if dark else 2,
            label=f"{choice.name}: {choice.front_wall_m:.2f} m, head at {choice.seat_m:.2f} m",
        )
