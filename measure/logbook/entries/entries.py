"""What an entry of the logbook holds: a room, a pair, a place, a survey, a move, a walk.

Conventions: one flat record a kind; each field's description is its comment in the file.
Lengths in metres, x from the left wall, y from the front wall, z from the floor, as in the
room file. What isn't known is None, and its key is left out.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Final

import msgspec
from msgspec import Meta

SCHEMA: Final = 1
"""Of every kind."""

Place = tuple[float, float, float]


class Entry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every entry has."""

    name: Annotated[str, Meta(description="as the person gave it")]
    written: Annotated[datetime, Meta(description="when this entry was made", tz=True)]
    notes: Annotated[str | None, Meta(description="in the person's words")] = None
    files: Annotated[
        tuple[str, ...], Meta(description="what was kept beside this file: photographs and others")
    ] = ()


class RoomEntry(Entry, frozen=True, kw_only=True):
    """A room."""

    room_file: Annotated[
        str | None, Meta(description="its room file, beside this one: sizes, air, surfaces")
    ] = None


class PairEntry(Entry, frozen=True, kw_only=True):
    """A pair of loudspeakers."""

    cabinet_m: Annotated[
        Place | None, Meta(description="width, depth and height of a cabinet, in m")
    ] = None
    woofer_height_m: Annotated[
        float | None, Meta(description="middle of the woofer above the floor, in m")
    ] = None
    tweeter_height_m: Annotated[float | None, Meta(description="tweeter above the floor, in m")] = (
        None
    )
    weight_kg: Annotated[float | None, Meta(description="of one cabinet, in kg")] = None
    on_loan_until: Annotated[date | None, Meta(description="the day it has to be back")] = None


class PlaceEntry(Entry, frozen=True, kw_only=True):
    """Where a pair stands, to be found again."""

    room: Annotated[str | None, Meta(description="in which room")] = None
    pair: Annotated[str | None, Meta(description="which pair")] = None
    left_m: Annotated[Place | None, Meta(description="left tweeter: x, y, z in m")] = None
    right_m: Annotated[Place | None, Meta(description="right tweeter: x, y, z in m")] = None
    seat_m: Annotated[Place | None, Meta(description="head or microphone: x, y, z in m")] = None
    std_m: Annotated[
        float | None, Meta(description="one standard deviation of a coordinate, in m")
    ] = None
    left_toe_in_deg: Annotated[
        float | None, Meta(description="left axis against the centre line, inward, in degrees")
    ] = None
    right_toe_in_deg: Annotated[
        float | None, Meta(description="right axis against the centre line, inward, in degrees")
    ] = None
    survey: Annotated[str | None, Meta(description="the survey it comes from")] = None


class SurveyEntry(Entry, frozen=True, kw_only=True):
    """Tape and laser readings of one placement."""

    survey_file: Annotated[str, Meta(description="the survey, beside this file")]
    room: Annotated[str | None, Meta(description="in which room")] = None
    pair: Annotated[str | None, Meta(description="which pair")] = None
    place: Annotated[str | None, Meta(description="the place it describes")] = None


class MoveEntry(Entry, frozen=True, kw_only=True):
    """A move, what it promised, and by what to judge it: takes, or surveys."""

    before: Annotated[str | None, Meta(description="the take before it")] = None
    after: Annotated[str | None, Meta(description="the take after it")] = None
    survey: Annotated[str | None, Meta(description="the survey that asked for it")] = None
    after_survey: Annotated[str | None, Meta(description="the survey after it")] = None
    pair: Annotated[str | None, Meta(description="which pair")] = None
    steps: Annotated[tuple[str, ...], Meta(description="what to do, in words and in order")] = ()
    left_away_m: Annotated[
        float, Meta(description="left loudspeaker, away from the seat, in m; below 0 towards it")
    ] = 0.0
    right_away_m: Annotated[
        float, Meta(description="right loudspeaker, away from the seat, in m; below 0 towards it")
    ] = 0.0
    expected_m: Annotated[
        float | None, Meta(description="left minus right that was promised, in m")
    ] = None
    expected_std_m: Annotated[
        float | None, Meta(description="one standard deviation of the promise, in m")
    ] = None


class WalkEntry(Entry, frozen=True, kw_only=True):
    """A walk through the room: where to measure, what the readings say of the room."""

    walk_file: Annotated[str, Meta(description="the stops, beside this file")]
    fit_file: Annotated[str, Meta(description="places and fit as JSON, beside this file")]
    room: Annotated[str | None, Meta(description="in which room")] = None
    n_readings: Annotated[int, Meta(description="readings that the fit rests on")] = 0


KINDS: Final[dict[str, type[Entry]]] = {
    "room": RoomEntry,
    "pair": PairEntry,
    "place": PlaceEntry,
    "survey": SurveyEntry,
    "move": MoveEntry,
    "walk": WalkEntry,
}

KIND_OF: Final = {table: kind for kind, table in KINDS.items()}
