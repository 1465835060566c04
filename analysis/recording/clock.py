r"""How fast the recorder's clock runs against the player's.

Conventions: drift is positive where the recorder is fast (counts more samples); the
*time* of a pass is where its response lies in the recording against where the
programme put it, in recorder seconds; passes of one loudspeaker are compared with
each other, since only they share a response.

A constant drift moves pass k by drift times its start, so the repeats of each side give
one estimate each. Where the two sides disagree, samples were lost or repeated between
passes; the place is then the pause for which drift and arrival difference stay
plausible, if only one does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.basics.arrays import Float

UNKNOWN_PPM = 100.0
"""One sigma of the drift when no repeat shows it: common practice, no source; crystals
are sold to 20, 50 and 100 ppm."""

MAX_PPM = 500.0
"""No two working clocks differ by more: then samples were lost, unless both sides' repeats,
at different distances, agree on it."""

JUMP_PPM = 2.0
"""The two sides' drifts may differ by this through wander; one lost sample in eight
seconds is 2.6 ppm at 48 kHz."""

PLAUSIBLE_DIFFERENCE_S = 1e-3
"""One sigma of left minus right before anything is known: a third of a metre."""

DECISIVE_CHI2 = 9.0
"""A place for lost samples is accepted when it beats all others by this much chi
squared, three sigma."""

IMPLAUSIBLE_CHI2 = 9.0
"""Chi squared of drift and arrival difference, three sigma, that a single jump must leave
below: two in different pauses leave metres."""

LEAST_DRIFT_SPLIT = 0.1
"""One sample must part the sides' drifts by this share of a sample over the programme for the
drifts to tell how many were lost."""

REPAIRED_SAMPLES = 20.0
"""A block inside a pass whose length is uncertain is repaired to within this many samples."""

MOST_JUMP_STD_SAMPLES = 10.0
"""A jump is located only if the passes leave less open than this, one sigma, with arrivals of
the two sides known to a sample: four passes leave two samples, three a hundred."""

WANDER = 0.05e-6
"""Relative change of a crystal's frequency over some ten seconds; common practice, no
source. It counts only where the sides' mean times differ."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Clock:
    """The clock difference and what it leaves uncertain.

    Attributes
    ----------
    drift_ppm, std_ppm : float
        Positive where the recorder is fast.
    measured : bool
        False where no repeat showed it and 0 was assumed.
    left_right_std_s : float
        What drift and wander leave in the left-minus-right arrival, one sigma.
    jump_s : float
        Recorder time lost (negative) or repeated (positive) between passes.
    jump_after : int or None
        Index in the list of extracted passes after which the jump lies.
    jump_located : bool
        False where samples were lost and it can't be said where.
    """

    drift_ppm: float
    std_ppm: float
    measured: bool
    left_right_std_s: float
    jump_s: float = 0.0
    jump_after: int | None = None
    jump_located: bool = True

    @property
    def ratio(self) -> float:
        """Recorder seconds per player second."""
        return 1 + self.drift_ppm * 1e-6


def fit_clock(
    starts_s: Float,
    late_s: Float,
    std_s: Float,
    sides: str,
    *,
    sample_rate_hz: float,
    jump_after: int | None = None,
    repaired: bool = False,
    may_jump: bool = True,
) -> Clock:
    """Estimate the drift, and find samples lost between passes.

    Parameters
    ----------
    starts_s : ndarray, shape (n,)
        Start of each extracted pass in the programme, player seconds.
    late_s : ndarray, shape (n,)
        How much later than programmed each came, recorder seconds; a constant is
        common to all. Within a side exact; between the sides within some 0.1 ms.
    std_s : ndarray, shape (n,)
        One sigma of `late_s` within its side; infinite for a pass that shares no clean band
        with the others, which then says nothing.
    sides : str
        One letter a pass.
    jump_after : int, optional
        Index of the pass after which some samples are known to be lost or repeated.
    repaired : bool
        Whether blocks were lost inside passes. A jump elsewhere then is one fault more, and
        puts in doubt which pass was to blame for the others: it isn't placed.
    may_jump : bool
        False where something else is known to part the passes.
    """
    known = np.flatnonzero(np.isfinite(std_s))
    clock = _fit_known(
        starts_s[known],
        late_s[known],
        std_s[known],
        "".join(sides[at] for at in known),
        sample_rate_hz,
        None if jump_after is None else int((known <= jump_after).sum()) - 1,
        repaired,
        may_jump,
    )
    if clock.jump_after is None:
        return clock
    return replace(clock, jump_after=int(known[clock.jump_after]))


def _fit_known(
    starts_s: Float,
    late_s: Float,
    std_s: Float,
    sides: str,
    sample_rate_hz: float,
    jump_after: int | None,
    repaired: bool,
    may_jump: bool,
) -> Clock:
    """Fit the passes whose time is known."""
    pairs = _fit_side_drifts(starts_s, late_s, std_s, sides)
    lever_s = abs(_mean_start_s(starts_s, sides, "L") - _mean_start_s(starts_s, sides, "R"))
    if not pairs:
        return Clock(
            drift_ppm=0.0,
            std_ppm=UNKNOWN_PPM,
            measured=False,
            left_right_std_s=UNKNOWN_PPM * 1e-6 * lever_s,
        )
    drift, drift_std, spread = _combine_drifts(pairs)
    apart = len(pairs) == 2 and abs(pairs[0][0] - pairs[1][0]) > (
        JUMP_PPM * 1e-6 + 6 * math.hypot(pairs[0][1], pairs[1][1])
    )
    late = (starts_s, late_s, sides, sample_rate_hz, lever_s)
    if jump_after is not None and 0 <= jump_after < len(sides) - 1:
        return _fit_with_jump(*late, pauses=(jump_after,), most_samples=REPAIRED_SAMPLES)
    far = abs(drift) > MAX_PPM * 1e-6 and not _spans_differ(starts_s, sides)
    if may_jump and (apart or far):
        most_samples = 0.0 if repaired else math.inf
        return _fit_with_jump(*late, pauses=tuple(range(len(sides) - 1)), most_samples=most_samples)
    wander_s = spread * float(np.ptp(starts_s)) / 8 if len(pairs) == 2 else 0.0
    return Clock(
        drift_ppm=drift * 1e6,
        std_ppm=math.hypot(drift_std, spread / 2) * 1e6,
        measured=True,
        left_right_std_s=math.hypot(lever_s * math.hypot(drift_std, WANDER), wander_s),
    )


def _spans_differ(starts_s: Float, sides: str) -> bool:
    """Say whether lost samples would have parted the two sides' drifts."""
    spans_s = [
        float(np.ptp([start for start, letter in zip(starts_s, sides, strict=True) if letter == s]))
        for s in "LR"
        if sides.count(s) > 1
    ]
    return len(spans_s) == 2 and max(spans_s) > 1.2 * min(spans_s)


def _mean_start_s(starts_s: Float, sides: str, side: str) -> float:
    """Return the mean start of one side's passes, or of all where it has none."""
    of_side = [start for start, letter in zip(starts_s, sides, strict=True) if letter == side]
    return float(np.mean(of_side if of_side else starts_s))


def _fit_side_drifts(
    starts_s: Float, late_s: Float, std_s: Float, sides: str
) -> list[tuple[float, float]]:
    """Return (drift, one sigma) of each side that has repeats, as ratios."""
    drifts = []
    for side in "LR":
        of_side = np.array([letter == side for letter in sides])
        if of_side.sum() < 2:
            continue
        weight = 1 / np.maximum(std_s[of_side], 1e-12) ** 2
        start = starts_s[of_side] - np.average(starts_s[of_side], weights=weight)
        information = float((weight * start**2).sum())
        slope = float((weight * start * late_s[of_side]).sum()) / information
        drifts.append((slope, 1 / math.sqrt(information)))
    return drifts


def _combine_drifts(pairs: list[tuple[float, float]]) -> tuple[float, float, float]:
    """Return the weighted drift, its sigma, and the sides' disagreement beyond sigma."""
    drift = np.array([pair[0] for pair in pairs])
    sigma = np.array([pair[1] for pair in pairs])
    weight = 1 / sigma**2
    mean = float((weight * drift).sum() / weight.sum())
    beyond = 0.0
    if drift.size == 2:
        apart = float(abs(drift[0] - drift[1]))
        noise = 3 * float(np.hypot(*sigma))
        beyond = apart if apart > noise else 0.0
    return mean, float(1 / math.sqrt(weight.sum())), beyond


def _fit_with_jump(
    starts_s: Float,
    late_s: Float,
    sides: str,
    sample_rate_hz: float,
    lever_s: float,
    *,
    pauses: tuple[int, ...],
    most_samples: float,
) -> Clock:
    """Try one jump of at most so many samples in each pause, and take the plausible place."""
    jumps = [_fit_jump_after(starts_s, late_s, sides, sample_rate_hz, after) for after in pauses]
    jumps.sort(key=lambda one: one.chi2)
    best = jumps[0]
    jump_located = len(jumps) == 1 or jumps[1].chi2 - best.chi2 > DECISIVE_CHI2
    # With too few passes drift, difference and jump trade against each other.
    jump_located &= best.std_samples < MOST_JUMP_STD_SAMPLES
    # What one jump leaves implausible was more than one.
    jump_located &= best.chi2 < IMPLAUSIBLE_CHI2
    jump_s, left_s, pairs = _round_jump(starts_s, late_s, sides, sample_rate_hz, best)
    drift, drift_std, spread = _combine_drifts(pairs)
    jump_located &= spread < JUMP_PPM * 1e-6 and abs(jump_s) * sample_rate_hz <= most_samples
    if not jump_located:
        return Clock(
            drift_ppm=0.0,
            std_ppm=UNKNOWN_PPM,
            measured=False,
            left_right_std_s=UNKNOWN_PPM * 1e-6 * lever_s + abs(jump_s),
            jump_s=jump_s,
            jump_after=best.after,
            jump_located=False,
        )
    return Clock(
        drift_ppm=drift * 1e6,
        std_ppm=math.hypot(drift_std, spread / 2) * 1e6,
        measured=True,
        left_right_std_s=math.hypot(lever_s * drift_std, left_s),
        jump_s=jump_s,
        jump_after=best.after,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Jump:
    """One jump tried: after which pass, its size and sigma in samples, and how well it fits."""

    after: int
    n_samples: float
    std_samples: float
    chi2: float


def _fit_jump_after(
    starts_s: Float, late_s: Float, sides: str, sample_rate_hz: float, after: int
) -> _Jump:
    """Fit offset, drift, difference and a jump after one pass, with priors on two of them."""
    right = np.array([letter == "R" for letter in sides], dtype=float)
    step = (np.arange(len(sides)) > after).astype(float)
    design = np.stack((np.ones_like(starts_s), starts_s, -right, step), axis=1)
    # Priors on drift and difference as two more observations; data to a sample.
    rows = np.zeros((2, 4))
    rows[0, 1], rows[1, 2] = 1 / (UNKNOWN_PPM * 1e-6), 1 / PLAUSIBLE_DIFFERENCE_S
    system = np.vstack((design * sample_rate_hz, rows))
    target = np.concatenate((late_s * sample_rate_hz, np.zeros(2)))
    solution = np.linalg.lstsq(system, target, rcond=None)[0]
    return _Jump(
        after=after,
        n_samples=float(solution[3]) * sample_rate_hz,
        std_samples=math.sqrt(float(np.linalg.pinv(system.T @ system)[3, 3])) * sample_rate_hz,
        chi2=float(((system @ solution - target) ** 2).sum()),
    )


def _round_jump(
    starts_s: Float, late_s: Float, sides: str, sample_rate_hz: float, jump: _Jump
) -> tuple[float, float, list[tuple[float, float]]]:
    """Return the whole jump that makes the sides' drifts agree, what it leaves, and the drifts.

    The fit's priors draw it a little towards a likely drift, by a sample at 200 ppm.
    """
    tiny_s = np.full(len(sides), 0.01 / sample_rate_hz)
    after = np.arange(len(sides)) > jump.after

    def repaired(n_samples: int) -> list[tuple[float, float]]:
        return _fit_side_drifts(
            starts_s, late_s - n_samples / sample_rate_hz * after, tiny_s, sides
        )

    n_samples = round(jump.n_samples)
    gap, further = (
        pairs[0][0] - pairs[-1][0] for pairs in (repaired(n_samples), repaired(n_samples + 1))
    )
    if abs(further - gap) * sample_rate_hz < LEAST_DRIFT_SPLIT / float(np.ptp(starts_s)):
        return n_samples / sample_rate_hz, 0.0, repaired(n_samples)
    missed = gap / (gap - further)
    n_samples += round(missed)
    left_s = abs(missed - round(missed)) / sample_rate_hz
    return n_samples / sample_rate_hz, left_s, repaired(n_samples)
