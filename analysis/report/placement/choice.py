"""Where to stand the pair for bass, in words: choices first, then the table, then limits."""

from __future__ import annotations

import numpy as np

from analysis.placement.choice import WITHIN_DB, Choice, Placement
from analysis.placement.objective import DIP_ALLOWED_DB, WEIGHTS
from analysis.report import format as fmt


def placement_lines(
    placement: Placement, *, current: tuple[float, float, float], schroeder_hz: float
) -> list[str]:
    """Return the choices in plain words, the table, and what isn't known.

    Parameters
    ----------
    current : tuple of float
        Front distance, half spread and seat of today, in metres.
    """
    most_even = placement.choices[0]
    lines: list[str] = []
    for choice in placement.choices:
        lines += fmt.wrapped(_choice_sentence(choice, most_even), hanging=2)
    lines += ["", *choice_table(placement, current), ""]
    limits = (
        "Distances are those of the woofers from the front wall, of each loudspeaker from the "
        "centre line, of the head from the front wall. Evenness is the spread of sixth-octave "
        "levels, 25 to 200 Hz, about a slowly falling line (less is better); strength is 30 to "
        "120 Hz over 200 to 1000 Hz. 'Holds' is how often, with size, damping and places off by "
        f"their uncertainties, the place stays within {WITHIN_DB:g} dB of the best. The balanced "
        f"choice has the least of {WEIGHTS['evenness']:g} × evenness + {WEIGHTS['dip_beyond']:g} "
        f"× a dip's depth beyond {DIP_ALLOWED_DB:g} dB + {WEIGHTS['likeness']:g} × unlikeness of "
        "left and right."
    )
    unknown = (
        f"Not known here: anything above about {schroeder_hz:.0f} Hz, where modes overlap (the "
        "Schroeder frequency); how much bass you like; what the neighbours hear; open doors and "
        "furniture beyond what the file says. Listen before you drill or glue."
    )
    return lines + fmt.wrapped(limits) + [""] + fmt.wrapped(unknown)


def _choice_sentence(choice: Choice, most_even: Choice) -> str:
    """Return one choice in plain words."""
    low, high = choice.interval_m
    where = f"{low:.2f} to {high:.2f} m" if high > low else f"{choice.front_wall_m:.2f} m"
    rest = f"each {choice.half_spread_m:.2f} m from the centre line, head at {choice.seat_m:.2f} m"
    what = {
        "evenest": f"evenest ({fmt.db(choice.evenness_db)})",
        "balanced": f"best balance of evenness, dips and likeness ({fmt.db(choice.evenness_db)})",
        "stronger": f"{fmt.db(choice.strength_db - most_even.strength_db)} stronger, "
        f"{fmt.db(choice.evenness_db - most_even.evenness_db)} less even",
    }[choice.name]
    peak = f"with a peak of {fmt.db(choice.worst_peak_db)} near {choice.worst_peak_hz:.0f} Hz"
    return f"{where} from the front wall, {rest}: {what}, {peak}."


def choice_table(placement: Placement, current: tuple[float, float, float]) -> list[str]:
    """Return the choices as a table, last the judged place nearest to today's.

    Parameters
    ----------
    current : tuple of float
        Front distance, half spread and seat of today, in metres.
    """
    rows: list[tuple[str, ...]] = [
        ("", "front", "spread", "seat", "evenness", "strength", "dip", "likeness", "holds")
    ]
    for choice in placement.choices:
        rows.append(
            (
                choice.name,
                f"{choice.front_wall_m:.2f} m",
                f"{choice.half_spread_m:.2f} m",
                f"{choice.seat_m:.2f} m",
                fmt.db(choice.evenness_db, choice.evenness_std_db),
                fmt.db(choice.strength_db),
                fmt.db(choice.worst_dip_db),
                fmt.db(choice.likeness_db),
                f"{choice.holds_percent:.0f} %",
            )
        )
    rows.append(_row_of_today(placement, current))
    return fmt.table(rows, right=tuple(range(1, 9)), gap=1)


def _row_of_today(placement: Placement, current: tuple[float, float, float]) -> tuple[str, ...]:
    """Return the row of the judged place nearest to today's."""
    places = placement.places
    away = np.abs(places.front_wall_m - current[0]) + np.abs(places.half_spread_m - current[1])
    k = int(np.argmin(away + np.abs(places.seat_m - current[2])))
    within = (
        placement.evenness_draws_with_error_db[:, k]
        <= placement.evenness_draws_with_error_db.min(axis=1) + WITHIN_DB
    )
    return (
        "today",
        f"{places.front_wall_m[k]:.2f} m",
        f"{places.half_spread_m[k]:.2f} m",
        f"{places.seat_m[k]:.2f} m",
        fmt.db(float(placement.evenness_db[k])),
        fmt.db(float(placement.strength_db[k])),
        fmt.db(float(placement.nominal.worst_dip_db[k])),
        fmt.db(float(placement.nominal.likeness_db[k])),
        f"{100 * within.mean():.0f} %",
    )
