"""What became of the clock and the microphone between the passes of one loudspeaker.

Conventions: as in `analysis.recording.repeats.pass_ratio` and
`analysis.recording.repeats.clock_wander`. Three things make passes differ: a risen residual is a
microphone that moved, a ramp is a clock that wandered, a step without ramp is lost samples.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.basics.arrays import Float
from analysis.recording.clock import Clock
from analysis.recording.disturbance.detection import Disturbance
from analysis.recording.extraction import ExtractedPass, indices_by_side
from analysis.recording.repeats.clock_wander import (
    CERTAIN,
    MOST_LOST,
    RULED_OUT,
    Repeats,
    TimeLine,
    infer_time_line,
    is_steady,
)
from analysis.recording.repeats.pass_ratio import (
    SPEED_OF_SOUND_M_S,
    PassRatio,
    fit_pass_ratio,
    hidden_distance_m,
    moved_distance_m,
)
from analysis.recording.repeats.pass_times import PassTimes
from analysis.recording.repeats.timing_response import full_weight_band_hz
from analysis.signals.programme import Programme

LEAST_MOVE_M = 0.5e-3
"""A smaller move changes the arrival by less than its in-room sigma."""

MOST_OFF_M = 3e-3
"""An arrival that may be farther off is withheld: a pair is set up to a few millimetres."""

MOVE_UNCERTAINTY = 2.0
"""A move is known to this factor: a field of direct sound isn't diffuse."""


BESIDE_MOVE = 4.0
"""Beside a move the sides' disagreement is carried as samples lost in an outer pause would leave
it; `analysis.recording.clock` takes an eighth of it over the programme, as a wander would."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RepeatJudgement:
    """What the repeats tell.

    Attributes
    ----------
    kind : str
        "alike"; "wander" of the clock; "lost" samples; "unclear", one of the two; "moved"
        microphone; "unknown" where no two passes of a side can be compared.
    ramp_ppm : float
        Largest change of the clock's rate between two passes of a side.
    moved_m : float
        How far the microphone moved, roughly.
    moved_passes : tuple of (int, int)
        Positions of the passes between which it did.
    n_lost : int
        Likeliest number of samples lost, negative where repeated; 0 unless `kind` is "lost"
        or "unclear".
    hidden_m : float
        Up to which distance noise would hide a move.
    arrival_std_s : float
        What it leaves in left minus right, one sigma; 0 where that is nothing new.
    """

    kind: str
    ramp_ppm: float = 0.0
    moved_m: float = 0.0
    moved_passes: tuple[tuple[int, int], ...] = ()
    n_lost: int = 0
    hidden_m: float = 0.0
    arrival_std_s: float = 0.0

    @property
    def arrival_std_m(self) -> float:
        """What it leaves in left minus right, as a distance."""
        return self.arrival_std_s * SPEED_OF_SOUND_M_S

    @property
    def is_too_uncertain(self) -> bool:
        """Whether left minus right may be too far off to be told."""
        factor = MOVE_UNCERTAINTY if self.kind == "moved" else 1.0
        return factor * self.arrival_std_m > MOST_OFF_M


UNKNOWN = RepeatJudgement(kind="unknown")


def compare_repeats(
    passes: tuple[ExtractedPass, ...],
    timed: PassTimes,
    programme: Programme,
    disturbance: Disturbance,
) -> dict[tuple[int, int], PassRatio]:
    """Fit each pass of a side against the one before it that was timed.

    Returns
    -------
    dict
        Positions of both passes, to their ratio; its delay is how much later than programmed.
    """
    starts_s = np.array([programme.starts_s[extracted.index] for extracted in passes])
    first_s = np.array([extracted.first for extracted in passes]) / programme.sample_rate_hz
    # Where each response lies in its cut.
    in_cut_s = timed.late_s + starts_s - first_s
    ratios = {}
    for of_side in indices_by_side(passes):
        for pair in pairwise(at for at in of_side if np.isfinite(timed.std_s[at])):
            spoilt = (disturbance.direct | disturbance.late)[list(pair)].any(axis=0)
            ratio = fit_pass_ratio(
                timed.responses[pair[0]],
                timed.responses[pair[1]],
                start_s=float(in_cut_s[pair[1]] - in_cut_s[pair[0]]),
                sweep=programme.sweep,
                band_hz=full_weight_band_hz(programme),
                disturbed_hz=tuple(
                    zip(disturbance.low_hz[spoilt], disturbance.high_hz[spoilt], strict=True)
                ),
            )
            if ratio is not None:
                cuts_apart_s = float(np.diff((first_s - starts_s)[list(pair)])[0])
                ratios[pair] = replace(ratio, delay_s=ratio.delay_s + cuts_apart_s)
    return ratios


def judge_move(
    ratios: dict[tuple[int, int], PassRatio], starts_s: Float, sides: str
) -> RepeatJudgement | None:
    """Return the judgement where the microphone moved, else None.

    Notes
    -----
    Left minus right is out by at most half the move, as each side's mean holds both places,
    and by what the move feigns as a drift over the time between the sides' means.
    """
    moves_m = {pair: moved_distance_m(ratio) for pair, ratio in ratios.items()}
    moved = tuple(pair for pair, move_m in moves_m.items() if move_m > LEAST_MOVE_M)
    if not moved:
        return None
    move_m = max(moves_m.values())
    left = np.array([letter == "L" for letter in sides])
    lever_s = 0.0
    if left.any() and not left.all():
        lever_s = abs(float(starts_s[left].mean() - starts_s[~left].mean()))
    share = 0.5 + lever_s / float(np.ptp(starts_s))
    return RepeatJudgement(
        kind="moved",
        moved_m=move_m,
        moved_passes=moved,
        arrival_std_s=share * move_m / SPEED_OF_SOUND_M_S,
    )


def judge_clock(
    ratios: dict[tuple[int, int], PassRatio],
    starts_s: Float,
    sides: str,
    clock: Clock,
    *,
    sample_s: float,
    move: RepeatJudgement | None = None,
) -> tuple[RepeatJudgement, Clock, Float | None]:
    """Judge whether the clock wandered or lost samples.

    Parameters
    ----------
    clock : Clock
        As `analysis.recording.clock` fitted it.
    sample_s : float
        Of the recorder, in seconds.
    move : RepeatJudgement, optional
        How the microphone moved, which also parts the passes.

    Returns
    -------
    judgement : RepeatJudgement
    clock : Clock
        As given, or with what was found.
    late_s : ndarray, shape (n_passes,), or None
        Expected lateness of each pass, where the clock alone doesn't tell it.
    """
    if not ratios or set(sides) != {"L", "R"}:
        return UNKNOWN, clock, None
    hidden_m = max(hidden_distance_m(ratio) for ratio in ratios.values())
    repeats = _gather(ratios, starts_s, move)
    jumped = clock.jump_after is not None or not clock.jump_located
    if (not jumped and is_steady(repeats)) or abs(clock.jump_s) > MOST_LOST * sample_s:
        if move is not None:
            std_s = math.hypot(BESIDE_MOVE * clock.left_right_std_s, move.arrival_std_s)
            moved = replace(move, arrival_std_s=std_s)
            return moved, replace(clock, left_right_std_s=std_s), None
        return RepeatJudgement(kind="alike", hidden_m=hidden_m), clock, None
    line = infer_time_line(repeats, sides, sample_s=sample_s)
    if move is not None:
        std_s = math.hypot(line.left_right_std_s, move.arrival_std_s)
        line = replace(line, left_right_std_s=std_s)
        moved_clock = _clock_of(line, "moved", repeats, clock, sample_s)
        return replace(move, arrival_std_s=std_s), moved_clock, line.late_s
    kind = "unclear"
    if line.loss_probability > CERTAIN:
        kind = "lost"
    elif line.loss_probability < RULED_OUT:
        kind = "wander"
    judgement = RepeatJudgement(
        kind=kind,
        ramp_ppm=float(np.abs(repeats.ramp).max()) * 1e6,
        n_lost=0 if kind == "wander" else line.n_lost,
        hidden_m=hidden_m,
        arrival_std_s=line.left_right_std_s,
    )
    return judgement, _clock_of(line, kind, repeats, clock, sample_s), line.late_s


def _gather(
    ratios: dict[tuple[int, int], PassRatio], starts_s: Float, move: RepeatJudgement | None
) -> Repeats:
    """Return the ratios as delays and ramps on the programme's time."""
    pairs, fits = tuple(ratios), tuple(ratios.values())
    reference_s = float(np.mean([ratio.reference_s for ratio in fits]))
    # A move changes the path by as much, at most.
    moved_s = move.moved_m / SPEED_OF_SOUND_M_S if move else 0.0
    return Repeats(
        at_s=starts_s + reference_s,
        pairs=pairs,
        late_s=np.array([ratio.delay_s for ratio in fits]),
        late_std_s=np.hypot([ratio.delay_std_s for ratio in fits], moved_s),
        ramp=np.array([ratio.ramp for ratio in fits]),
        ramp_std=np.array([ratio.ramp_std for ratio in fits]),
    )


def _clock_of(line: TimeLine, kind: str, repeats: Repeats, clock: Clock, sample_s: float) -> Clock:
    """Return the clock with what the time line says."""
    wandered_ppm = float(np.abs(repeats.ramp).max()) * 1e6
    located = kind == "lost" and line.lost_after is not None
    return replace(
        clock,
        drift_ppm=line.drift * 1e6,
        std_ppm=max(wandered_ppm / 2, clock.std_ppm if clock.measured else 0.0),
        measured=True,
        left_right_std_s=line.left_right_std_s,
        jump_s=-line.n_lost * sample_s if located else 0.0,
        jump_after=line.lost_after if located else None,
        jump_located=True,
    )
