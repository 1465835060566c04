"""Where to measure next, in words."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.placement.measurement_plan import (
    FEWEST_PLACES,
    LEAST_WORTH_DB,
    MOST_PLACES,
    PlannedPlace,
)
from analysis.report import format as fmt


def measurement_plan_lines(
    planned: Sequence[PlannedPlace], *, n_measured: int, regret_db: float
) -> list[str]:
    """Return where to measure next, or that no further place would change the advice.

    Parameters
    ----------
    planned : sequence of PlannedPlace
        Those that are left.
    n_measured : int
        Readings made so far.
    regret_db : float
        By how much the advised place, with readings that of the fit, is expected to miss the
        best one.
    """
    whose = "the fit's" if n_measured else "the advised"
    miss = f"{whose} place is expected to miss the best one by {fmt.db(regret_db)}"
    if not planned and n_measured >= MOST_PLACES:
        text = f"{n_measured} readings were made, as many as a walk takes ({miss})."
        return fmt.wrapped(f"{text} The walk is done.")
    if not planned:
        text = (
            f"No further place would change the advice by {LEAST_WORTH_DB:g} dB or "
            f"more ({miss}). The walk is done."
        )
        return fmt.wrapped(text)
    lines = fmt.wrapped(f"Measure at these places, in this order ({miss}):")
    for number, place in enumerate(planned, start=1):
        lines.append(
            f"  {number}. loudspeakers {place.front_wall_m:.2f} m from the front wall, each "
            f"{place.half_spread_m:.2f} m off the centre,"
        )
        lines.append(f"     microphone at {place.seat_m:.2f} m")
    worth = f"{fmt.number(planned[-1].worth_db, places=2)} dB"
    return lines + fmt.wrapped(
        f"By them the fit's place is expected to become {worth} evener, in a room without details "
        f"that the file lacks; fewer than {FEWEST_PLACES} can't be checked against each other. "
        "Slide, don't lift, and have a second person for a heavy loudspeaker; after each, write "
        "the reading's file name into the walk file and run this again."
    )
