"""Which takes of a list are wanted: by pair, room, place, day, tag, words.

Conventions: names count as the same whatever their capitals and accents.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from measure.logbook.take_index import TakeLine


@dataclass(frozen=True, kw_only=True, slots=True)
class Selection:
    """What is wanted; None and empty take everything.

    Attributes
    ----------
    pair, room, place : str or None
    since, until : date or None
        First and last day, in the take's own time.
    tags, words : tuple of str
        All of them: tags as they are, words anywhere in names, tags and remarks.
    """

    pair: str | None = None
    room: str | None = None
    place: str | None = None
    since: date | None = None
    until: date | None = None
    tags: tuple[str, ...] = ()
    words: tuple[str, ...] = ()


def select_takes(takes: Iterable[TakeLine], wanted: Selection) -> list[TakeLine]:
    """Return the takes that are wanted, in their order."""
    return [take for take in takes if _matches(take, wanted)]


def plain_text(text: str) -> str:
    """Return a text without capitals and accents."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(sign for sign in apart if not unicodedata.combining(sign))


def _matches(take: TakeLine, wanted: Selection) -> bool:
    """Return whether a take is wanted."""
    for name in ("pair", "room", "place"):
        asked = getattr(wanted, name)
        if asked is not None and plain_text(getattr(take, name) or "") != plain_text(asked):
            return False
    day = take.started.date()
    if (wanted.since and day < wanted.since) or (wanted.until and day > wanted.until):
        return False
    tags = {plain_text(tag) for tag in take.tags}
    if not {plain_text(tag) for tag in wanted.tags} <= tags:
        return False
    if not wanted.words:
        return True
    parts = (take.name, take.pair, take.room, take.place, *take.tags, *take.remarks)
    text = plain_text("\n".join(part for part in parts if part))
    return all(plain_text(word) in text for word in wanted.words)
