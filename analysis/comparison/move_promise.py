"""What a move promises for the arrival difference, and whether it did it.

Conventions: difference = left minus right, in metres; positive where the left loudspeaker is
farther. A loudspeaker that goes away from the seat along its line to it by s becomes farther
by s. ``_std_`` is one sigma.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from analysis.basics.uncertainty import COVERAGE_FACTOR

SETTING_STD_M: Final = 0.5e-3
"""One sigma of how well a loudspeaker is put where it was meant to, by a tape. Common
practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Promise:
    """What a move should bring.

    Attributes
    ----------
    difference_m, std_m : float
        Left minus right after it, in metres.
    """

    difference_m: float
    std_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Judgement:
    """What it brought.

    Attributes
    ----------
    found_m, off_m, off_std_m : float or None
        The difference afterwards, what it misses the promise by, and one sigma of that, in
        metres; None where the take has no arrival.
    kept : bool or None
        Whether it misses by no more than two sigma.
    """

    promised: Promise
    found_m: float | None
    off_m: float | None
    off_std_m: float | None
    kept: bool | None


@dataclass(frozen=True, kw_only=True, slots=True)
class MoveAnswer:
    """What became of a move that was given its result.

    Attributes
    ----------
    move : str
        Its name; empty where it couldn't be found out.
    judgement : Judgement or None
        None where nothing was promised.
    problem : str or None
        Why no move could be given this result.
    """

    move: str = ""
    judgement: Judgement | None = None
    problem: str | None = None


def promise(
    before_m: float | None, before_std_m: float | None, *, left_away_m: float, right_away_m: float
) -> Promise | None:
    """Return what a move should bring.

    Parameters
    ----------
    before_m, before_std_m : float or None
        Left minus right before it, in metres.
    left_away_m, right_away_m : float
        How far each goes away from the seat, in metres; below 0 towards it.

    Returns
    -------
    Promise or None
        None where the difference before isn't known.

    Examples
    --------
    The left loudspeaker is 5 mm farther and comes 5 mm nearer:

    >>> found = promise(0.005, 0.001, left_away_m=-0.005, right_away_m=0.0)
    >>> found.difference_m, round(found.std_m, 5)
    (0.0, 0.00112)
    """
    if before_m is None:
        return None
    moved = (left_away_m != 0) + (right_away_m != 0)
    return Promise(
        difference_m=before_m + left_away_m - right_away_m,
        std_m=math.hypot(before_std_m or 0.0, SETTING_STD_M * math.sqrt(moved)),
    )


def judge_promise(promised: Promise, found_m: float | None, found_std_m: float | None) -> Judgement:
    """Hold a result against a promise.

    Parameters
    ----------
    found_m, found_std_m : float or None
        Left minus right after the move, in metres.
    """
    if found_m is None:
        return Judgement(promised=promised, found_m=None, off_m=None, off_std_m=None, kept=None)
    off_m = found_m - promised.difference_m
    std_m = math.hypot(promised.std_m, found_std_m or 0.0)
    return Judgement(
        promised=promised,
        found_m=found_m,
        off_m=off_m,
        off_std_m=std_m,
        kept=abs(off_m) <= COVERAGE_FACTOR * std_m,
    )
