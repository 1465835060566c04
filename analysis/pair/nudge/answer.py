r"""One answer of the nudge loop: left minus right from the last three sweeps.

Conventions: left minus right, positive where left is farther or louder; lags as in
`analysis.pair.nudge.sweep`.

The three sweeps are of one side, the other, and the first again. With :math:`w` the share of
the way from the first start to the third at which the second lies, the outer side's response
at the time of the middle one is

.. math:: \hat h(t) = (1-w)\,h_1(t - w\delta) + w\,h_3(t + (1-w)\delta),

where :math:`\delta` is its change of lag from first to third. So a drift of the clocks, and
a loudspeaker that moves evenly, cancel. The pair is then matched like any other, by
`analysis.pair.arrival`. A disturbance that differs from sweep to sweep adds to the uncertainty
(`analysis.pair.nudge.repeat`), and where it adds too much, or the input itself is faulty, the
answer carries a doubt and nobody should act on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Float
from analysis.pair.arrival import FLOOR_STD_M, IN_ROOM_STD_M, ArrivalMatch, match_arrivals
from analysis.pair.nudge.level import direct_level_difference
from analysis.pair.nudge.pattern import NudgePattern, sweep_side
from analysis.pair.nudge.repeat import SweepChange, sweep_change
from analysis.pair.nudge.sweep import Fault, HeardSweep
from analysis.signals.impulse_response import ImpulseResponse

DISTURBED_M = 4e-3
"""Metres of uncertainty per misfit beyond noise (relative amplitude): what ten independent
parts of the band leave of a phase error, with a margin of two."""

MISMATCH_TIMES = 1.2
NOISE_TIMES = 1.05
"""Times the sigmas of a reading: a short sweep leaves less below the band for the minimum phase
to be known, and its noise is measured at a few dozen places only. Found on simulated rooms,
tried on others (docs/nudge.md)."""

MOST_RANDOM_STD_M = 0.8e-3
"""An answer whose random part exceeds this is unsure: less than half the usual tolerance."""

MOST_DISTURBED_M = 0.3e-3
"""So much of it may come of a disturbance: what that did to the figure isn't Gaussian."""

MOST_RATE_PPM = 450.0
"""Lag may change by so much: clocks up to 300 ppm apart, and 5 cm/s of motion."""

MOST_MOTION_PPM = 150.0
"""The same where the clocks' drift is known: 5 cm/s. Beyond, the recording jumped, or the
loudspeaker moves too fast to be measured."""

MOST_GAIN_DB = 1.5
"""Direct sound that changes by more within half a second is being covered."""


class Doubt(StrEnum):
    """Why an answer should not be acted on."""

    NOISE = "noise"
    LOST = "lost"
    SILENT = "silent"
    CLIPPED = "clipped"
    UNHEARD = "unheard"
    JUMP = "jump"
    COVERED = "covered"
    UNLIKE = "unlike"


@dataclass(frozen=True, kw_only=True, slots=True)
class NudgeAnswer:
    """What the last three sweeps say.

    Attributes
    ----------
    index : int
        Of the last sweep.
    time_s : float
        Player's time of the middle sweep, in seconds from the run's first frame.
    difference_m : float or None
        Left minus right; None where it couldn't be computed. With a `doubt` it's a guess.
    std_m : float or None
        One sigma that this answer supports.
    random_std_m : float or None
        The part of it that changes from answer to answer.
    disturbed_m : float or None
        The part of that which a disturbance gave.
    in_room_std_m : float or None
        One sigma with draughts and the microphone's place.
    level_db, level_std_db : float or None
        Left minus right in the direct sound, and one sigma.
    side : str
        Whose sweeps were the first and third, ``left`` or ``right``.
    change : SweepChange or None
        From the first to the third.
    rate_ppm : float or None
        The same change of lag, in microseconds a second: drift and motion.
    doubt : Doubt or None
        Why not to act on it.
    doubt_side : str or None
        Whose sweep it is about, where it is about one.
    """

    index: int
    time_s: float
    difference_m: float | None = None
    std_m: float | None = None
    random_std_m: float | None = None
    disturbed_m: float | None = None
    in_room_std_m: float | None = None
    level_db: float | None = None
    level_std_db: float | None = None
    side: str
    change: SweepChange | None = None
    rate_ppm: float | None = None
    doubt: Doubt | None = None
    doubt_side: str | None = None


def answer_from_sweeps(
    sweeps: Sequence[HeardSweep],
    pattern: NudgePattern,
    *,
    speed_of_sound_m_s: float,
    before: NudgeAnswer | None = None,
    clock_ppm: float | None = None,
) -> NudgeAnswer:
    """Return the answer of three sweeps.

    Parameters
    ----------
    sweeps : sequence of HeardSweep
        Three that follow each other.
    before : NudgeAnswer, optional
        The previous answer: what changed up to the middle sweep shows whether that one was
        disturbed.
    clock_ppm : float, optional
        The clocks' drift, where it is known.

    Raises
    ------
    ValueError
        If there aren't three sweeps, or they don't follow each other.
    """
    indices = [sweep.index for sweep in sweeps]
    if len(indices) != 3 or indices != list(range(indices[0], indices[0] + 3)):
        msg = f"sweeps {indices} must be three that follow each other"
        raise ValueError(msg)
    first, middle, third = sweeps
    empty = NudgeAnswer(
        index=third.index, time_s=_middle_s(pattern, middle.index), side=sweep_side(third.index)
    )
    faulty = _worst_fault(sweeps)
    if faulty is not None and faulty.fault is not None:
        sides = {sweep_side(one.index) for one in sweeps if one.fault is faulty.fault}
        alone = sweep_side(faulty.index) if len(sides) == 1 else None
        return replace(empty, doubt=Doubt(faulty.fault), doubt_side=alone)
    change = sweep_change(first, third)
    between_s = pattern.start_s(third.index) - pattern.start_s(first.index)
    known = replace(empty, change=change, rate_ppm=1e6 * change.shift_s / between_s)
    left, right = _interpolate_pair(
        first, middle, third, change, _time_share(pattern, middle.index)
    )
    match = match_arrivals(left, right, speed_of_sound_m_s=speed_of_sound_m_s)
    other = before.change if before is not None and before.index == middle.index else None
    full = _add_figures(known, match, [change, other] if other else [change], left, right)
    doubt, doubt_side = _find_doubt(full, match, [change, other], clock_ppm)
    return replace(full, doubt=doubt, doubt_side=doubt_side)


def _middle_s(pattern: NudgePattern, index: int) -> float:
    return pattern.start_s(index) + pattern.sweep.duration_s / 2


def _time_share(pattern: NudgePattern, index: int) -> float:
    """Return where a sweep lies between its neighbours, 0 to 1."""
    before, at, after = (pattern.start_s(index + step) for step in (-1, 0, 1))
    return (at - before) / (after - before)


def _worst_fault(sweeps: Sequence[HeardSweep]) -> HeardSweep | None:
    """Return the sweep whose fault says most: what the input did comes before what it heard."""
    order = list(Fault)
    faulty = [sweep for sweep in sweeps if sweep.fault is not None]
    return min(faulty, key=lambda sweep: order.index(sweep.fault or Fault.UNHEARD), default=None)


def _interpolate_pair(
    first: HeardSweep, middle: HeardSweep, third: HeardSweep, change: SweepChange, share: float
) -> tuple[ImpulseResponse, ImpulseResponse]:
    """Return left and right at the time of the middle sweep."""
    one, other = first.response, third.response
    assert one is not None
    assert other is not None
    assert middle.response is not None
    n_samples = min(one.samples.size, other.samples.size)
    apart_s = other.start_s - one.start_s
    samples = (1 - share) * _delay_samples(one.samples[:n_samples], share * change.shift_s, one)
    samples += share * _delay_samples(
        other.samples[:n_samples], apart_s - (1 - share) * change.shift_s, other
    )
    scale = math.hypot(1 - share, share)
    outer = replace(
        one, samples=samples, noise=scale * np.concatenate((one.noise, other.noise)), n_repeats=2
    )
    sides = {sweep_side(first.index): outer, sweep_side(middle.index): middle.response}
    return sides["left"], sides["right"]


def _delay_samples(samples: Float, delay_s: float, response: ImpulseResponse) -> Float:
    """Return samples delayed by any time, short against their length."""
    n_fft = fft.next_fast_len(samples.size + 256, real=True)
    omega = 2 * np.pi * fft.rfftfreq(n_fft, 1 / response.sample_rate_hz)
    turned = fft.rfft(samples, n_fft) * np.exp(-1j * omega * delay_s)
    return np.asarray(fft.irfft(turned, n_fft)[: samples.size])


def _add_figures(
    known: NudgeAnswer,
    match: ArrivalMatch,
    changes: Sequence[SweepChange],
    left: ImpulseResponse,
    right: ImpulseResponse,
) -> NudgeAnswer:
    """Return the answer with its figures."""
    level = direct_level_difference(left, right, left_s=match.left_s, right_s=match.right_s)
    if level is not None:
        known = replace(known, level_db=level[0], level_std_db=level[1])
    if match.difference_m is None or match.std_m is None:
        return known
    disturbed_m = DISTURBED_M * math.hypot(*(change.excess for change in changes))
    random_std_m = math.hypot(NOISE_TIMES * match.noise_std_m, disturbed_m)
    std_m = math.hypot(random_std_m, MISMATCH_TIMES * match.mismatch_std_m, FLOOR_STD_M)
    return replace(
        known,
        difference_m=match.difference_m,
        std_m=std_m,
        random_std_m=random_std_m,
        disturbed_m=disturbed_m,
        in_room_std_m=math.hypot(std_m, IN_ROOM_STD_M),
    )


def _find_doubt(
    full: NudgeAnswer,
    match: ArrivalMatch,
    changes: Sequence[SweepChange | None],
    clock_ppm: float | None,
) -> tuple[Doubt | None, str | None]:
    """Return the doubt that weighs most, and whose sweep it is about."""
    other_side = {"left": "right", "right": "left"}[full.side]
    limit_ppm = MOST_RATE_PPM if clock_ppm is None else MOST_MOTION_PPM
    if full.rate_ppm is not None and abs(full.rate_ppm - (clock_ppm or 0.0)) > limit_ppm:
        return Doubt.JUMP, None
    for change, side in zip(changes, (full.side, other_side), strict=True):
        if change is not None and abs(change.gain_db) > MOST_GAIN_DB:
            return Doubt.COVERED, side
    if full.random_std_m is None or full.random_std_m > MOST_RANDOM_STD_M:
        return Doubt.NOISE, None
    if full.disturbed_m is not None and full.disturbed_m > MOST_DISTURBED_M:
        return Doubt.NOISE, None
    if not match.agree:
        return Doubt.UNLIKE, None
    return None, None
