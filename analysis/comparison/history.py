"""The history of one pair: its takes in their order, and the moves between them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from analysis.comparison.move_promise import Judgement, Promise


@dataclass(frozen=True, kw_only=True, slots=True)
class HistoryTake:
    """One take of a history.

    Attributes
    ----------
    arrival_m, arrival_std_m : float or None
        Left minus right and its one sigma, in metres.
    balance_db : mapping as tuple of (str, float or None)
        Name of a bass band and its level against the middle, in dB.
    """

    name: str
    started: datetime
    place: str | None
    arrival_m: float | None
    arrival_std_m: float | None
    balance_db: tuple[tuple[str, float | None], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class HistoryMove:
    """One move of a history.

    Attributes
    ----------
    after : str
        The take or survey before it, in words.
    up_to : str or None
        The one that is its result.
    left_away_m, right_away_m : float
        How far each went away from the seat, in metres.
    steps : tuple of str
        The same in words, where a survey asked for it.
    judgement : Judgement or None
        None where there is no result yet.
    problem : str or None
        Why its result can't be read.
    """

    after: str
    up_to: str | None
    left_away_m: float
    right_away_m: float
    steps: tuple[str, ...]
    promised: Promise | None
    judgement: Judgement | None = None
    problem: str | None = None
