"""The figures of a page: bass, arrival, plan, two groups.

Each is SVG text as `analysis.plots.page.chart` has it.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.basics.arrays import Float
from analysis.bass.bass import Bass
from analysis.comparison.groups.compare import GroupComparison
from analysis.plots.page.chart import Axis, Chart, ChartLine, chart_svg
from analysis.room.room import Positions, Room
from analysis.signals.impulse_response import ImpulseResponse

FREQUENCY = Axis(
    label="Frequency (Hz)",
    low=20.0,
    high=300.0,
    ticks=(20.0, 30.0, 50.0, 70.0, 100.0, 150.0, 200.0, 300.0),
    log=True,
)

WIDE_FREQUENCY = Axis(
    label="Frequency (Hz)",
    low=20.0,
    high=20_000.0,
    ticks=(20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0, 20_000.0),
    log=True,
)


def _level_axis(values: list[Float], label: str, *, most: float = 60.0) -> Axis:
    """Return an axis in steps of 10 dB about the values."""
    known = np.concatenate([one[np.isfinite(one)] for one in values])
    high = 10 * math.ceil(float(known.max()) / 10 + 0.2)
    low = max(10 * math.floor(float(known.min()) / 10), high - 10 * round(most / 10))
    return Axis(
        label=label,
        low=float(low),
        high=float(high),
        ticks=tuple(float(tick) for tick in range(low, high + 1, 10)),
    )


def bass_svg(bass: Bass) -> str | None:
    """Return the bass of each loudspeaker with its worst peaks and dips; None without any."""
    lines, marks, said = [], [], []
    for name, side in bass.sides:
        if name == "both":
            continue
        curve = side.curve
        level = np.where(curve.covered, curve.sixth_octave_db, np.nan)
        lines.append(
            ChartLine(name=f"{name} loudspeaker", kind=name, x=curve.frequency_hz, y=level)
        )
        for one in side.worst:
            hz = one.feature.frequency_hz
            at = float(np.interp(hz, curve.frequency_hz, curve.sixth_octave_db))
            marks.append((hz, at, f"{hz:.0f} Hz"))
            said.append(f"{name} {one.feature.kind} at {hz:.0f} Hz")
    if not lines:
        return None
    chart = Chart(
        title="Level over frequency of each loudspeaker at the seat, smoothed over a sixth of an "
        f"octave. Marked: {', '.join(said) or 'nothing'}.",
        x=FREQUENCY,
        y=_level_axis([line.y for line in lines], "Level (dB)"),
        lines=tuple(lines),
        marks=tuple(sorted(marks)),
    )
    return chart_svg(chart, identifier="bass")


def arrival_svg(left: ImpulseResponse, right: ImpulseResponse, *, left_s: float) -> str:
    """Return the first milliseconds of both loudspeakers."""
    lines = []
    for name, one in (("left", left), ("right", right)):
        time_ms = (one.time_s - left_s) * 1e3
        near = (time_ms >= -1.0) & (time_ms <= 4.0)
        y = one.samples[near] / max(float(np.max(np.abs(one.samples))), 1e-30)
        lines.append(ChartLine(name=f"{name} loudspeaker", kind=name, x=time_ms[near], y=y))
    chart = Chart(
        title="The first sound of both loudspeakers, each scaled to its own largest value; time "
        "from the arrival of the left one.",
        x=Axis(label="Time (ms)", low=-1.0, high=4.0, ticks=(-1.0, 0.0, 1.0, 2.0, 3.0, 4.0)),
        y=Axis(label="Pressure", low=-1.1, high=1.1, ticks=(-1.0, 0.0, 1.0)),
        lines=tuple(lines),
        height=220.0,
    )
    return chart_svg(chart, identifier="arrival")


def group_svg(found: GroupComparison, *, names: tuple[str, str], side: int) -> str:
    """Return one side's curves of two groups with their spread."""
    where = ("left", "right")[side]
    chart = _chart_of_groups(
        f"Bass of the {where} loudspeaker in both groups, against the reference band; the "
        "bands are two standard deviations of the repeats.",
        FREQUENCY,
        names=names,
        hz=found.frequency_hz,
        level_db=found.curves_db[:, side],
        spread_db=found.spread_db[:, side],
    )
    return chart_svg(chart, identifier=f"group-{where}")


def wide_svg(found: GroupComparison, *, names: tuple[str, str], side: int) -> str:
    """Return one side's curves of two groups over the whole range, smoothed over 1/3 octave."""
    where = ("left", "right")[side]
    chart = _chart_of_groups(
        f"Level of the {where} loudspeaker at the seat in both groups from 20 Hz to 20 kHz, "
        "smoothed over a third of an octave, against the reference band.",
        WIDE_FREQUENCY,
        names=names,
        hz=found.wide_hz,
        level_db=found.wide_db[:, side],
        spread_db=found.wide_spread_db[:, side],
    )
    return chart_svg(chart, identifier=f"wide-{where}")


def _chart_of_groups(
    title: str,
    x: Axis,
    *,
    names: tuple[str, str],
    hz: Float,
    level_db: Float,
    spread_db: Float,
) -> Chart:
    """Return the chart of both groups' curves, `level_db` and `spread_db` of shape (2, n)."""
    lines = tuple(
        ChartLine(name=name, kind=kind, x=hz, y=level_db[k], spread=2 * spread_db[k])
        for k, (name, kind) in enumerate(zip(names, ("before", "after"), strict=True))
    )
    y = _level_axis([line.y for line in lines], "Level (dB)")
    return Chart(title=title, x=x, y=y, lines=lines)


def plan_svg(room: Room, positions: Positions) -> str:
    """Return the plan: walls, loudspeakers, seat, seen from above, the front wall at the top."""
    length_m, width_m = room.length_m, room.width_m
    scale = min(600 / width_m, 420 / length_m)
    height = length_m * scale + 40
    wide = width_m * scale
    seat = positions.seat
    ends = (("left", positions.left.tweeter), ("right", positions.right.tweeter))
    said = "; ".join(f"{name} {one.distance_m(seat):.3f} m from the seat" for name, one in ends)
    parts = [
        f'<svg viewBox="0 0 640 {height:.0f}" role="img" aria-labelledby="plan">',
        f'<title id="plan">Plan of the room, {width_m:.2f} m wide and {length_m:.2f} m long, '
        f"the front wall at the top: {said}.</title>",
        f'<rect class="axis" x="20" y="20" width="{wide:.1f}" height="{length_m * scale:.1f}"/>',
    ]
    at = (20 + seat.x_m * scale, 20 + seat.y_m * scale)
    for name, one in ends:
        x, y = 20 + one.x_m * scale, 20 + one.y_m * scale
        parts += [
            f'<path class="{name}" d="M{x:.1f} {y:.1f}L{at[0]:.1f} {at[1]:.1f}"/>',
            f'<rect class="mark" x="{x - 7:.1f}" y="{y - 7:.1f}" width="14" height="14"/>',
            f'<text x="{x:.1f}" y="{y - 12:.1f}" text-anchor="middle">{name} '
            f"{one.distance_m(seat):.3f} m</text>",
        ]
    parts += [
        f'<circle class="mark" cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="6"/>',
        f'<text x="{at[0]:.1f}" y="{at[1] + 20:.1f}" text-anchor="middle">seat</text>',
        "</svg>",
    ]
    return "\n".join(parts)
