"""Two groups of readings, in words."""

from __future__ import annotations

import math
from typing import Final

from analysis.basics.repeat_statistics import CHANCE, GroupChange
from analysis.comparison.groups.compare import GroupComparison
from analysis.comparison.groups.features import Outcome
from analysis.report import format as fmt
from analysis.report.bass import cause_text

N_LARGEST: Final = 3
"""So many changes of the bass are named at once; the rest stands in the table."""


def group_lines(found: GroupComparison, *, names: tuple[str, str]) -> list[str]:
    """Return what is different, the claim first, in lines of at most 78 columns.

    Parameters
    ----------
    names : tuple of str
        Of the two groups.
    """
    texts = [claim_text(found, names=names), *outcome_texts(found), basis_text(found)]
    lines = [line for text in texts for line in fmt.wrapped(text, hanging=2)]
    return [*lines, *change_table(found), "", *fmt.table(outcome_rows(found), right=(1, 2, 3))]


def claim_text(found: GroupComparison, *, names: tuple[str, str]) -> str:
    """Return what is different beyond the uncertainty."""
    if not found.significant_changes and found.outcomes:
        return (
            f"From {names[0]} to {names[1]} only peaks, dips or reflections differ by more than "
            "the uncertainty."
        )
    if not found.significant_changes:
        return f"Between {names[0]} and {names[1]} nothing differs by more than the uncertainty."
    scalars = [one for one in found.significant_changes if one not in _band_changes(found)]
    bands = sorted(
        (one for one in _band_changes(found) if one.beyond_uncertainty),
        key=_absolute_change,
        reverse=True,
    )
    said = "; ".join(f"{one.name} by {size_text(one)}" for one in (*scalars, *bands[:N_LARGEST]))
    n_more = len(bands) - N_LARGEST
    more = f"; {n_more} smaller changes of the bass are in the table" if n_more > 0 else ""
    return f"From {names[0]} to {names[1]}, beyond the uncertainty: {said}{more}."


def outcome_texts(found: GroupComparison) -> list[str]:
    """Return a sentence for each peak, dip and reflection that changed."""
    return [outcome_text(one) for one in found.outcomes]


def outcome_text(one: Outcome) -> str:
    """Return what became of a peak, dip or reflection, and its likely cause."""
    name = place_text(one)
    sizes = []
    if "moved" in one.changes and one.place is not None:
        sizes.append(f"moved by {_place_change_text(one.place)}")
    others = [word for word in one.changes if word != "moved"]
    if others:
        sizes.append(
            f"{' and '.join(others)}, {fmt.db(one.level.change, one.level.std, sign=True)}"
        )
    text = f"{name}: {'; '.join(sizes)}"
    if one.tracked.cause is not None and one.tracked.cause.cause != "unexplained":
        text += f"; likely cause: {cause_text(one.tracked.cause)}"
    return text + "."


def place_text(one: Outcome) -> str:
    """Return what and where something is."""
    at = one.tracked.before if one.tracked.before is not None else one.tracked.after or 0.0
    side = one.tracked.side.capitalize()
    if one.tracked.what == "reflection":
        return f"{side}, reflection {at * 1e3:.2f} ms after the direct sound"
    return f"{side}, {one.tracked.what} at {fmt.hz(at)}"


def _place_change_text(place: GroupChange) -> str:
    """Return by how much a place changed."""
    if place.unit == "s":
        return fmt.with_std(place.change * 1e3, place.std * 1e3, "ms", sign=True)
    return fmt.with_std(place.change, place.std, "Hz", sign=True)


def outcome_rows(found: GroupComparison) -> list[tuple[str, ...]]:
    """Return every peak, dip and reflection as cells, under headings."""
    rows: list[tuple[str, ...]] = [("", "before", "after", "level", "changed")]
    for one in (*found.features, *found.reflections):
        scale, unit = (1e3, "ms") if one.tracked.what == "reflection" else (1.0, "Hz")
        places = 2 if unit == "ms" else 1
        before, after = (
            "none" if at is None else f"{at * scale:.{places}f} {unit}"
            for at in (one.tracked.before, one.tracked.after)
        )
        level = fmt.db(one.level.change, one.level.std, sign=True)
        name = f"{one.tracked.side} {one.tracked.what}"
        rows.append((name, before, after, level, ", ".join(one.changes) or "no"))
    return rows


def _absolute_change(one: GroupChange) -> float:
    """Return how large a change is."""
    return abs(one.change)


def basis_text(found: GroupComparison) -> str:
    """Return what the judgement rests on."""
    repeats = f"{found.n_before} and {found.n_after} readings"
    kind = (
        f"spread from the repeats, Student's t{_freedom_text(found)}"
        if found.n_before + found.n_after > 2
        else "no repeats: each reading's own uncertainty is taken as known"
    )
    band = (
        "each loudspeaker's bass against its own 200 to 2000 Hz"
        if found.matching == "own"
        else "both pairs matched in level from 500 to 2000 Hz"
    )
    return (
        f"Basis: {repeats}; {kind}; {found.n_quantities} quantities, Holm's correction, so that "
        f"at most {100 * CHANCE:.0f} % of comparisons without a change claim any; {band}; "
        f"{fmt.db(found.gain_db, sign=True)} common to all curves is gain and left out."
    )


def _freedom_text(found: GroupComparison) -> str:
    """Return the degrees of freedom of the quantities, the fewest first."""
    known = sorted({round(one.freedom) for one in found.changes if math.isfinite(one.freedom)})
    if not known:
        return ""
    most = f" to {known[-1]}" if known[-1] > known[0] else ""
    return f" with {known[0]}{most} degrees of freedom"


def size_text(one: GroupChange) -> str:
    """Return a change with its uncertainty."""
    if one.unit == "m":
        return fmt.mm(one.change, one.std, sign=True)
    if one.unit == "Hz":
        return fmt.with_std(one.change, one.std, "Hz", sign=True)
    return fmt.db(one.change, one.std, sign=True)


def change_rows(found: GroupComparison) -> list[tuple[str, ...]]:
    """Return every quantity as cells, under headings."""
    rows: list[tuple[str, ...]] = [("", "before", "after", "change", "beyond uncertainty")]
    for one in (*_scalar_changes(found), *found.measures, *_band_changes(found)):
        before, after = (_value_text(value, one.unit) for value in (one.before, one.after))
        rows.append((one.name, before, after, size_text(one), _certainty_text(one)))
    return rows


def _scalar_changes(found: GroupComparison) -> list[GroupChange]:
    """Return arrival and levels."""
    return [one for one in found.changes if not one.name.startswith(("left at", "right at"))]


def _band_changes(found: GroupComparison) -> list[GroupChange]:
    """Return the third octaves."""
    return [one for one in found.changes if one.name.startswith(("left at", "right at"))]


def _value_text(value: float, unit: str) -> str:
    """Return a value with its unit."""
    if unit == "m":
        return fmt.mm(value, sign=True)
    return f"{value:.1f} Hz" if unit == "Hz" else fmt.db(value, sign=True)


def _certainty_text(one: GroupChange) -> str:
    """Return whether a change counts."""
    return "yes" if one.beyond_uncertainty else "no"


def change_table(found: GroupComparison) -> list[str]:
    """Return every quantity as aligned lines."""
    return fmt.table(change_rows(found), right=(1, 2, 3))
