"""The way back to a kept place, in words.

Conventions: those of `analysis.report.survey.verdict`; ``±`` is one standard deviation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.report import format as fmt
from analysis.report.survey.verdict import Length, millimetres
from analysis.survey.moves.coordinates import height_differs
from analysis.survey.moves.frames import MARK_SIGMAS, MovedMark
from analysis.survey.moves.put_back import ObservationToRestore, Step
from analysis.survey.propagation import Estimate

_NAMES = {"left": "Left loudspeaker", "right": "Right loudspeaker", "seat": "Seat"}


def step_lines(steps: Sequence[Step]) -> list[str]:
    """Return how far each thing has to go, in lines of at most ``fmt.WIDTH`` columns."""
    said = []
    for step in steps:
        said += fmt.wrapped(step_text(step), hanging=2)
    return said


def step_text(step: Step) -> str:
    """Return how far one thing has to go."""
    seat = step.what == "seat"
    ways = []
    if step.moves:
        ways += [
            _way_text(step.toward_wall_m, "forward" if seat else "toward the front wall", "back")
            if seat or step.toward_wall_m.value_and_std[0] > 0
            else _way_text(step.toward_wall_m, "", "into the room"),
            _way_text(step.outward_m, *(("to the right", "to the left") if seat else _SIDEWAYS)),
        ]
    if step.turns and step.turn_rad is not None:
        value, std = (math.degrees(one) for one in step.turn_rad.value_and_std)
        size = fmt.with_std(abs(value), std, "°").replace(" °", "°")
        ways.append(f"turn {size} {'inward' if value > 0 else 'outward'}")
    if height_differs(step):
        value, std = step.higher_m.value_and_std
        ways.append(f"it stood {fmt.mm(abs(value), std)} {'higher' if value > 0 else 'lower'}")
    stays = f"stands where it stood, within what is known ({_uncertainty_text(step)})"
    return f"{_NAMES[step.what]}: {', '.join(ways) or stays}."


_SIDEWAYS = ("outward", "inward")


def _way_text(way: Estimate, plus: str, minus: str) -> str:
    """Return one way with its uncertainty."""
    value, std = way.value_and_std
    return f"{fmt.mm(abs(value), std)} {plus if value > 0 else minus}"


def _uncertainty_text(step: Step) -> str:
    """Return how well that is known."""
    std_m = math.hypot(step.toward_wall_m.value_and_std[1], step.outward_m.value_and_std[1])
    text = f"±{fmt.mm(std_m)}"
    if step.turn_rad is not None:
        text += f", ±{math.degrees(step.turn_rad.value_and_std[1]):.1f}°"
    return text


def observation_lines(
    observations: Sequence[ObservationToRestore], *, length: Length = millimetres, now: bool = True
) -> list[str]:
    """Return what the tape must read, as aligned lines.

    Parameters
    ----------
    now : bool
        Whether what it reads today stands beside it.
    """
    rows = []
    for one in observations:
        if one.kind == "angle":
            today, then = (f"{math.degrees(value):.1f}°" for value in (one.now, one.then))
            std = f"±{math.degrees(one.std):.1f}°"
        else:
            today, then = length(one.now), length(one.then)
            std = f"±{fmt.mm(one.std)}"
        rows.append((one.label, *((today, "→") if now else ()), then, std))
    return fmt.table(rows, right=(1, 3) if now else (1,))


def mark_lines(marks: Sequence[str], moved: Sequence[MovedMark]) -> list[str]:
    """Return at which marks two surveys were laid over each other, and which were left out."""
    said = [f"Both surveys were laid over each other at {', '.join(marks)}."]
    said += [
        f"{one.name} isn't where it was and was left out: it stands "
        f"{fmt.mm(abs(one.off_m), one.off_std_m)} "
        f"{'farther from' if one.off_m > 0 else 'nearer to'} {one.other} than then, more than "
        f"{MARK_SIGMAS:g} sigmas."
        for one in moved
    ]
    if len(marks) == 2:
        said.append(
            "With two marks only nothing would show that both moved alike: use more, such as "
            "strips of tape on the walls."
        )
    return [line for text in said for line in fmt.wrapped(text, hanging=2)]
