"""What changed between two readings, in words.

Conventions: as in `analysis.comparison.compare`: after less before, ``±`` one standard deviation, a
change counts beyond two.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.comparison.compare import Comparison, ValueChange
from analysis.comparison.feature_changes import FeatureChange
from analysis.comparison.moved import Moved
from analysis.report import format as fmt

N_LARGEST: Final = 3
"""So many changes are named; the rest is counted."""

_MOVED: Final = {
    "left": "the left loudspeaker moved",
    "right": "the right loudspeaker moved",
    "both": "both loudspeakers moved, or the seat",
    "none": "nothing moved that can be heard",
    "seat": "the seat moved",
    "unknown": "it can't be told what moved",
}

_CURVES: Final = {"left": "Left", "right": "Right", "both": "Both together"}


def comparison_lines(comparison: Comparison) -> list[str]:
    """Return the few lines that a person reads first.

    Returns
    -------
    list of str
        At most 78 columns each.
    """
    texts = [
        arrival_text(comparison.arrival),
        *gain_texts(comparison),
        *level_texts(comparison),
        moved_text(comparison),
        bass_text(comparison.features),
        *evidence_texts(comparison),
    ]
    return [line for text in texts for line in fmt.wrapped(text, hanging=2)]


def arrival_text(arrival: ValueChange | None) -> str:
    """Return how the arrival difference changed, and whether that is sure."""
    if arrival is None:
        return "Arrival: no comparison, since one reading has no arrival."
    change = fmt.mm(arrival.change, arrival.counted_std, sign=True)
    path = (
        f"{fmt.mm(arrival.before, arrival.counted_std, sign=True).split(' ±')[0]} before, "
        f"{fmt.mm(arrival.after, arrival.counted_std, sign=True).split(' ±')[0]} mm after"
    )
    untouched = fmt.number(max(arrival.std * 1e3, 0.1), places=1)
    sure = (
        "larger than the uncertainty"
        if arrival.beyond_uncertainty
        else "NOT larger than the uncertainty"
    )
    return (
        f"Arrival: left minus right changed by {change} ({path}), {sure}. With the microphone "
        f"untouched between the two it is known to ± {untouched} mm."
    )


def gain_texts(comparison: Comparison) -> list[str]:
    """Return the gain common to both, if a knob was turned."""
    gain = comparison.gain
    if not gain.changed:
        return []
    way = "louder" if gain.gain_db > 0 else "quieter"
    size = fmt.db(abs(gain.gain_db), gain.std_db)
    return [
        f"Gain: both loudspeakers are {size} {way} alike. That is a knob, not the "
        "room; it is taken out of everything here."
    ]


def level_texts(comparison: Comparison) -> list[str]:
    """Return how the level difference changed."""
    texts = []
    for name, value in (("direct sound", comparison.direct), ("seat", comparison.seat)):
        if value is None:
            continue
        sure = "" if value.beyond_uncertainty else ", within the uncertainty"
        size = fmt.db(abs(value.change), value.counted_std)
        way = (
            "" if size.startswith("0.0 ") else f" towards {'left' if value.change > 0 else 'right'}"
        )
        texts.append(f"{name} {size}{way}{sure}")
    if not texts:
        return ["Level: no comparison, since one reading has no level."]
    return [f"Level, left against right: {'; '.join(texts)}."]


def moved_text(comparison: Comparison) -> str:
    """Return what moved, and how that is known."""
    if comparison.contradiction is not None:
        return _contradiction_text(*comparison.contradiction, comparison.arrival)
    moved = comparison.move.moved
    if moved == "both" and comparison.move_is_given:
        return "Moved: both loudspeakers (as told)."
    source = "as told" if comparison.move_is_given else "by the early reflections"
    if moved == "unknown":
        source = "say so with an option to have dips judged"
    return f"Moved: {_MOVED[moved]} ({source})."


def _contradiction_text(told: Moved, heard: Moved, arrival: ValueChange | None) -> str:
    """Return that another loudspeaker moved than was said, and what to look at."""
    grew = ""
    if (
        arrival is not None
        and arrival.beyond_uncertainty
        and abs(arrival.after) > abs(arrival.before)
    ):
        before, after = (fmt.mm(abs(value)) for value in (arrival.before, arrival.after))
        grew = f", and the difference grew from {before} to {after}"
    return (
        f"Moved: NOT as told. You said the {told} loudspeaker, but the early reflections of the "
        f"{heard} one changed{grew}. Left and right are probably exchanged: move nothing before "
        "you have played the left channel alone and seen which loudspeaker sounds."
    )


def bass_text(changes: Sequence[FeatureChange]) -> str:
    """Return how many peaks and dips changed, and the largest change."""
    changed = [one for one in changes if one.changes]
    if not changed:
        return "Bass: no peak or dip changed by more than the uncertainty."
    counted = []
    for word in ("moved", "filled", "deepened", "grown", "reduced", "gone", "new"):
        n = sum(word in one.changes for one in changed)
        if n:
            counted.append(f"{n} {word}")
    largest = sorted(changed, key=_size_db, reverse=True)[:N_LARGEST]
    named = "; ".join(f"{_CURVES[one.curve].lower()}, {_change_sentence(one)}" for one in largest)
    return f"Bass: {', '.join(counted)}. Largest: {named}."


def evidence_texts(comparison: Comparison) -> list[str]:
    """Return what the dips say of boundary or mode."""
    found: dict[str, list[str]] = {"boundary": [], "mode": []}
    for one in comparison.features:
        if one.evidence is not None:
            found[one.evidence].append(f"{one.frequency_hz:.0f}")
    texts = []
    if found["boundary"]:
        texts.append(
            f"Dips at {_enumeration(found['boundary'])} Hz moved in frequency when only the "
            f"{comparison.move.moved} loudspeaker moved: evidence for a boundary."
        )
    if found["mode"]:
        texts.append(
            f"Dips at {_enumeration(found['mode'])} Hz stayed where a boundary's would have moved: "
            "evidence for a room mode."
        )
    if not any(found.values()) and comparison.move.moved in ("left", "right"):
        texts.append(
            "The move was too small to tell boundaries from modes by their dips."
            if comparison.move.distance_m is not None
            else "How far it moved isn't known, so the dips can't tell boundaries from modes."
        )
    return texts


def _enumeration(items: Sequence[str]) -> str:
    """Return items as in a sentence."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def _size_db(one: FeatureChange) -> float:
    """Return how much a change matters, in dB."""
    feature = one.before if one.before is not None else one.after
    if one.level_change_db is not None:
        return abs(one.level_change_db)
    return 0.0 if feature is None else feature.prominence_db


def _change_sentence(one: FeatureChange) -> str:
    """Return one change as part of a sentence."""
    what = f"the {one.kind} at {fmt.hz(one.frequency_hz)}"
    if "gone" in one.changes or "new" in one.changes:
        return f"{what} is {one.changes[0]}"
    parts = []
    if "moved" in one.changes and one.after is not None:
        parts.append(f"moved to {fmt.hz(one.after.frequency_hz)}")
    for word, verb in (
        ("filled", "was filled"),
        ("deepened", "became deeper"),
        ("grown", "grew"),
        ("reduced", "shrank"),
    ):
        if word in one.changes:
            parts.append(f"{verb} by {fmt.db(abs(one.level_change_db or 0.0), one.level_std_db)}")
    return f"{what} {' and '.join(parts)}"
