"""What a row of nudge answers says: trend, who moves, what to do, and whether it is done.

Conventions: left minus right, positive where left is farther. A *sure* answer has no doubt.
Answers follow each other by one sweep and share two, so only those that share none count as
readings that agree.

A loudspeaker that stands keeps its lag but for the clocks' drift, which both sides share. So
while both lags change alike the drift is learnt, and once it is known a lag that changes
otherwise says which loudspeaker moves; where both do, it is the microphone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import median

from analysis.pair.nudge.answer import Doubt, NudgeAnswer

N_KEPT = 24
"""Some seven seconds."""

N_AGREE = 3
"""So many readings in a row within tolerance, and it is done."""

SWEEPS_A_READING = 3

STILL_PPM = 5.0
"""Sides whose lags change alike to this much, 1.7 mm/s, stand still (noise: 2 ppm at 10 dB)."""

MOVING_PPM = 9.0
"""A lag that changes by 3 mm/s more than the clocks' drift is motion."""

MOVING_SIGMAS = 3.0

N_CLOCK = 4
"""So many still pairs of answers, and the drift is known."""

COVERED_DB = 2.5
"""A level difference this far from its usual value: something stands before a loudspeaker. A
slide of some centimetres changes it by tenths."""

TREND_S = 2.5
TREND_M_S = 1e-3
"""The difference changes where it does so by more than a millimetre a second over some
seconds."""


@dataclass(frozen=True, kw_only=True, slots=True)
class NudgeTrack:
    """Where the person stands.

    Attributes
    ----------
    tolerance_m : float
        Differences up to this need no move, in metres, above 0.
    move : str
        The loudspeaker that is slid, ``left`` or ``right``.
    answers : tuple of NudgeAnswer
        The latest, oldest first.
    clock_ppm : float or None
        Drift of the clocks, once known.
    drifts_ppm : tuple of float
        What it was learnt from, the latest.
    mover : str or None
        What moves now: ``left``, ``right``, ``microphone`` or ``something``, where the drift
        isn't known yet.
    n_moved_other : int
        How many of the other loudspeaker's own answers in a row saw it move.
    agreed : tuple of int
        Indices of the readings in a row that lie within tolerance.
    """

    tolerance_m: float
    move: str
    speed_of_sound_m_s: float
    answers: tuple[NudgeAnswer, ...] = ()
    clock_ppm: float | None = None
    drifts_ppm: tuple[float, ...] = ()
    mover: str | None = None
    n_moved_other: int = 0
    agreed: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if not 0 < self.tolerance_m < math.inf:
            msg = f"tolerance_m {self.tolerance_m} must be greater than zero"
            raise ValueError(msg)
        if self.move not in {"left", "right"}:
            msg = f"move {self.move!r} must be 'left' or 'right'"
            raise ValueError(msg)

    @property
    def latest(self) -> NudgeAnswer | None:
        """The latest answer."""
        return self.answers[-1] if self.answers else None

    @property
    def sure(self) -> tuple[NudgeAnswer, ...]:
        """The answers without a doubt."""
        return tuple(one for one in self.answers if one.doubt is None)

    @property
    def done(self) -> bool:
        """Whether enough readings in a row agree within tolerance."""
        return len(self.agreed) >= N_AGREE


@dataclass(frozen=True, kw_only=True, slots=True)
class MoveAdvice:
    """What to do with the loudspeaker that is slid.

    Attributes
    ----------
    side : str
        ``left`` or ``right``.
    distance_m : float
        At least 0.
    toward_seat : bool
        Toward the seat, or away from it.
    needed : bool
        Whether the difference exceeds the tolerance.
    """

    side: str
    distance_m: float
    toward_seat: bool
    needed: bool


def move_advice(difference_m: float, *, move: str, tolerance_m: float) -> MoveAdvice:
    """Return the move that makes the distances equal.

    Parameters
    ----------
    difference_m : float
        Left minus right, in metres.
    move : {"left", "right"}
        The loudspeaker that is slid.

    Raises
    ------
    ValueError
        If `move` is another word.

    Examples
    --------
    Left is farther by a centimetre, so it goes toward the seat:

    >>> advice = move_advice(0.01, move="left", tolerance_m=0.002)
    >>> advice.distance_m, advice.toward_seat, advice.needed
    (0.01, True, True)
    """
    if move not in {"left", "right"}:
        msg = f"move {move!r} must be 'left' or 'right'"
        raise ValueError(msg)
    return MoveAdvice(
        side=move,
        distance_m=abs(difference_m),
        toward_seat=(difference_m > 0) == (move == "left"),
        needed=abs(difference_m) > tolerance_m,
    )


def trend_m_s(track: NudgeTrack) -> float | None:
    """Return how fast the difference changes over the last seconds, None where unknown.

    Returns
    -------
    float or None
        Metres a second, least squares over the sure answers.
    """
    if track.latest is None:
        return None
    since_s = track.latest.time_s - TREND_S
    points = [
        (one.time_s, one.difference_m)
        for one in track.sure
        if one.difference_m is not None and one.time_s >= since_s
    ]
    if len(points) < 3:
        return None
    mean_s = sum(at_s for at_s, _ in points) / len(points)
    spread = sum((at_s - mean_s) ** 2 for at_s, _ in points)
    return sum((at_s - mean_s) * value_m for at_s, value_m in points) / spread


def follow(track: NudgeTrack, answer: NudgeAnswer) -> NudgeTrack:
    """Return the track with one more answer.

    Returns
    -------
    NudgeTrack
        Its latest answer may have got a doubt that only the row of answers shows.
    """
    answer = _doubt_if_covered(track, answer)
    track = _learn_clock(track, answer)
    mover = _find_mover(track, answer)
    other = {"left": "right", "right": "left"}[track.move]
    # An answer sees the motion of its outer side; the other side's shows in the next one.
    if answer.side == other or mover not in {None, other}:
        n_moved_other = track.n_moved_other + 1 if mover == other else 0
    else:
        n_moved_other = track.n_moved_other
    return replace(
        track,
        answers=(*track.answers, answer)[-N_KEPT:],
        mover=mover,
        n_moved_other=n_moved_other,
        agreed=_update_agreed(track, answer, still=mover is None),
    )


def _doubt_if_covered(track: NudgeTrack, answer: NudgeAnswer) -> NudgeAnswer:
    """Return the answer, doubted where its level differs from what it was."""
    levels_db = [one.level_db for one in track.answers if one.level_db is not None]
    if answer.doubt is not None or answer.level_db is None or len(levels_db) < 5:
        return answer
    off_db = answer.level_db - median(levels_db)
    if abs(off_db) <= COVERED_DB + 2 * (answer.level_std_db or 0.0):
        return answer
    return replace(answer, doubt=Doubt.COVERED, doubt_side="left" if off_db < 0 else "right")


def _learn_clock(track: NudgeTrack, answer: NudgeAnswer) -> NudgeTrack:
    """Return the track with the drift learnt, where both sides stand still."""
    before = track.latest
    if (
        before is None
        or before.index != answer.index - 1
        or before.doubt is not None
        or answer.doubt is not None
        or before.rate_ppm is None
        or answer.rate_ppm is None
        or abs(answer.rate_ppm - before.rate_ppm) > STILL_PPM
    ):
        return track
    both_ppm = (answer.rate_ppm + before.rate_ppm) / 2
    if track.clock_ppm is not None and abs(both_ppm - track.clock_ppm) > STILL_PPM:
        return track
    drifts_ppm = (*track.drifts_ppm, both_ppm)[-N_KEPT:]
    known = len(drifts_ppm) >= N_CLOCK
    return replace(track, drifts_ppm=drifts_ppm, clock_ppm=median(drifts_ppm) if known else None)


def _find_mover(track: NudgeTrack, answer: NudgeAnswer) -> str | None:
    """Return what moves, by the latest two answers."""
    before = track.latest
    pair = (answer,) if before is None or before.index != answer.index - 1 else (before, answer)
    rates = {
        one.side: one.rate_ppm for one in pair if one.doubt is None and one.rate_ppm is not None
    }
    if not rates:
        return None
    limit_ppm = max(MOVING_PPM, MOVING_SIGMAS * _rate_std_ppm(track, pair))
    if track.clock_ppm is None:
        apart = len(rates) == 2 and abs(rates["left"] - rates["right"]) > limit_ppm
        return "something" if apart else None
    moving = [
        side for side, rate_ppm in rates.items() if abs(rate_ppm - track.clock_ppm) > limit_ppm
    ]
    return "microphone" if len(moving) == 2 else moving[0] if moving else None


def _rate_std_ppm(track: NudgeTrack, pair: tuple[NudgeAnswer, ...]) -> float:
    """Return one sigma of a rate: two sweeps' noise over their half second."""
    random_m = max(one.random_std_m or 0.0 for one in pair)
    return 1e6 * math.sqrt(2) * random_m / track.speed_of_sound_m_s / 0.55


def _update_agreed(track: NudgeTrack, answer: NudgeAnswer, *, still: bool) -> tuple[int, ...]:
    """Return the readings in a row within tolerance that share no sweep."""
    if answer.doubt is not None or answer.difference_m is None or answer.std_m is None:
        return track.agreed
    inside = abs(answer.difference_m) <= track.tolerance_m and answer.std_m <= track.tolerance_m
    if not (inside and still):
        return ()
    if track.agreed and answer.index - track.agreed[-1] < SWEEPS_A_READING:
        return track.agreed
    return (*track.agreed, answer.index)
