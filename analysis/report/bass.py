"""What made a peak or dip, and which kind of move would change it, in words.

Conventions: those of `analysis.room.room` and `analysis.room.modes`; indices stand in the order
length, width, height. Modes of a room that is no box have the numbers that `apexline room`
lists.
"""

from __future__ import annotations

from typing import Final

from analysis.bass.bass import ExplainedFeature
from analysis.bass.causes.cause import Cause
from analysis.report import format as fmt

_BETWEEN: Final = ("front and rear wall", "the side walls", "floor and ceiling")

_WALLS: Final = {
    "front": "the front wall",
    "rear": "the rear wall",
    "left": "the left wall",
    "right": "the right wall",
    "floor": "the floor",
    "ceiling": "the ceiling",
}

_CHANGED_BY: Final = {
    "front": "another distance from loudspeaker to front wall",
    "rear": "another distance from seat to rear wall",
    "left": "another distance from loudspeaker to left wall",
    "right": "another distance from loudspeaker to right wall",
    "floor": "another height of the woofer or distance to the seat",
    "ceiling": "absorption at the ceiling between loudspeaker and seat",
}

_ALONG: Final = ("along the room's length", "sideways", "in height")

_KINDS: Final = {"plan": ", alike at all heights", "vertical": " between floor and ceiling"}

_MOVE_DIRECTIONS: Final = {"plan": " over the floor", "vertical": " in height"}
"""By the kind of a mode that has a number."""

_HEIGHT: Final = 2

LEAST_ALONG: Final = 0.2
"""A move along a direction that has less of a mode's gradient than this changes it little."""

MOST_ALONG: Final = 0.8
"""A mode with this share of its gradient along one direction is said to run along it."""

RIVAL_SHARE: Final = 0.6
"""A second cause of at least this share of the first one's score is named as well."""


def feature_text(one: ExplainedFeature) -> str:
    """Return what a feature is: ``peak of 9 dB at 43 Hz``."""
    feature = one.feature
    size_db = abs(feature.level_db)
    return f"{feature.kind} of {size_db:.0f} dB at {fmt.hz(feature.frequency_hz)}"


def mode_name(indices: tuple[int, int, int]) -> str:
    """Return a mode's indices as a table of modes prints them: ``(1,0,0)``.

    Examples
    --------
    >>> mode_name((1, 0, 0))
    '(1,0,0)'
    """
    return f"({','.join(str(index) for index in indices)})"


def cause_text(cause: Cause) -> str:
    """Return a cause: ``room mode (1,0,0) between front and rear wall``."""
    if cause.cause == "mode" and cause.indices is not None:
        walls = [name for index, name in zip(cause.indices, _BETWEEN, strict=True) if index]
        text = f"room mode {mode_name(cause.indices)}"
        if len(walls) == 1:
            text += f" between {walls[0]}"
        partner = cause.partner_indices
        if partner is not None and any(partner):
            text += f" against mode {mode_name(partner)}"
        return text
    if cause.cause == "mode":
        text = f"room mode no. {cause.number}{_mode_location_text(cause)}"
        return text + (f" against mode no. {cause.partner_number}" if cause.partner_number else "")
    if cause.cause == "boundary" and cause.surface is not None:
        return f"reflection from {_wall_text(cause.surface)}"
    return "no cause found"


def short_cause_text(cause: Cause) -> str:
    """Return a cause for a table: ``mode 1,0,0``, ``modes 2,0,1 and 2,0,0``, ``rear wall``."""
    if cause.cause == "mode" and cause.indices is not None:
        name = ",".join(str(index) for index in cause.indices)
        if cause.partner_indices is not None and any(cause.partner_indices):
            return f"modes {name} and {','.join(str(index) for index in cause.partner_indices)}"
        return f"mode {name}"
    if cause.cause == "mode":
        if cause.partner_number:
            return f"modes no. {cause.number} and {cause.partner_number}"
        return f"mode no. {cause.number}"
    if cause.cause == "boundary" and cause.surface is not None:
        return _wall_text(cause.surface).removeprefix("the ")
    return "none found"


def _mode_location_text(cause: Cause) -> str:
    """Return where a mode without indices is, as far as it is known."""
    kind = _KINDS.get(cause.kind or "", "")
    if cause.direction_shares is None or cause.kind == "vertical":
        return kind
    text = f" at {fmt.hz(cause.frequency_hz)}"
    most = max(range(3), key=cause.direction_shares.__getitem__)
    if cause.direction_shares[most] >= MOST_ALONG:
        text += f" {_ALONG[most]}"
    if most == _HEIGHT or cause.loudest_wall is None:
        return text
    return f"{text}, loudest along {_wall_text(cause.loudest_wall)}"


def _wall_text(surface: str) -> str:
    """Return what a surface is called; walls of other plans have numbers."""
    return _WALLS.get(surface, surface)


def causes_text(one: ExplainedFeature) -> str:
    """Return the likeliest cause, and the next where it is nearly as likely."""
    first = one.causes[0]
    text = cause_text(first)
    if len(one.causes) > 1 and one.causes[1].score >= RIVAL_SHARE * first.score > 0:
        text += f", or {cause_text(one.causes[1])}"
    return text


def move_text(cause: Cause) -> str | None:
    """Return what kind of move would change it, or None where no cause is known."""
    if cause.cause == "mode" and cause.indices is not None:
        along = [way for index, way in zip(cause.indices, _ALONG, strict=True) if index]
        return f"moving loudspeakers or seat {' or '.join(along)} changes it"
    if cause.cause == "mode":
        where = _MOVE_DIRECTIONS.get(cause.kind or "", "")
        if cause.direction_shares is not None:
            shares = zip(cause.direction_shares, _ALONG, strict=True)
            where = " " + " or ".join(way for share, way in shares if share >= LEAST_ALONG)
        return f"moving loudspeakers or seat{where} changes it"
    if cause.cause == "boundary" and cause.surface is not None:
        other = f"another distance from loudspeaker to {cause.surface}"
        return f"{_CHANGED_BY.get(cause.surface, other)} changes it"
    return None
