"""What an option takes as distances to try: FROM:TO:STEP in metres, or keep."""

from __future__ import annotations

from typing import Any, Final

import click

from measure.terminal.number_type import number

KEEP: Final = "keep"

FINEST_STEP_M: Final = 0.005
"""Finer steps than a tape's division tell nothing."""

FARTHEST_M: Final = 30.0
"""The longest room (`analysis.room.room.SIZE_RANGE_M`)."""

MOST_STEPS: Final = 500


class DistanceRange(click.ParamType[Any]):
    """Distances from one to another in steps, or ``keep``: today's alone."""

    name = "range"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float, float] | str:
        """Return from, to and step in metres, or ``keep``."""
        if value == KEEP:
            return KEEP
        parts = str(value).split(":")
        if len(parts) != 3:
            self.fail(
                f"{value!r}: give FROM:TO:STEP in metres, as 0.3:1.6:0.05, or keep", param, ctx
            )
        low, high, step = (number(part, self, param, ctx) for part in parts)
        if wrong := _wrong(low, high, step):
            self.fail(f"{value!r}: {wrong}", param, ctx)
        return low, high, step


def _wrong(low: float, high: float, step: float) -> str | None:
    """Return what is wrong with a range, if anything."""
    if low > high:
        return f"FROM {low:g} m is beyond TO {high:g} m; give the smaller one first"
    if low <= 0 or high >= FARTHEST_M:
        return f"distances must lie above 0 and below {FARTHEST_M:g} m"
    if step < FINEST_STEP_M:
        return f"STEP {step:g} m must be at least {FINEST_STEP_M:g} m"
    if (high - low) / step > MOST_STEPS:
        return f"more than {MOST_STEPS} steps; make STEP larger or the range shorter"
    return None
