r"""How fast the recorder's clock runs against the player's.

Conventions: drift is positive where the recorder is fast (counts more samples); the
*time* of a pass is where its response lies in the recording against where the
programme put it, in recorder seconds; passes of one loudspeaker are compared with
each other, since only they share a response.

The delay between two responses h_a and h_b is where the sum of
:math:`\mathrm{Re}\,(H_a H_b^*\,e^{j\omega\tau})` peaks: the maximum-likelihood place
for white noise, and noise is white after deconvolution when the room's noise is pink
(a sweep's energy is). Its variance follows from what remains after alignment.

A constant drift moves pass k by drift times its start, so the repeats of each side give
one estimate each. Where the two sides disagree, samples were lost or repeated between
passes; the place is then the pause for which drift and arrival difference stay
plausible, if only one does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft as fft

from analysis.arrays import Complex, Float

FINE = 8
"""Lags tried a sample."""

UNKNOWN_PPM = 100.0
"""One sigma of the drift when no repeat tells it: common practice, no source; crystals
are sold to 20, 50 and 100 ppm."""

MAX_PPM = 500.0
"""No two working clocks differ by more: then samples were lost, unless both sides' repeats,
at different distances, agree on it."""

JUMP_PPM = 2.0
"""The two sides' drifts may differ by this through wander; one lost sample in eight
seconds is 2.6 ppm at 48 kHz."""

PLAUSIBLE_DIFFERENCE_S = 1e-3
"""One sigma of left minus right before anything is known: a third of a metre."""

DECISIVE = 9.0
"""A place for lost samples is accepted when it beats all others by this much chi
squared, three sigma."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Delay:
    """Delay of one response against another.

    Attributes
    ----------
    delay_s, std_s : float
        Positive where the first is later; one sigma.
    coherence : float
        Normalised correlation after alignment, -1 to 1.
    """

    delay_s: float
    std_s: float
    coherence: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Clock:
    """The clock difference and what it leaves uncertain.

    Attributes
    ----------
    drift_ppm, std_ppm : float
        Positive where the recorder is fast.
    measured : bool
        False where no repeat told it and 0 was assumed.
    left_right_std_s : float
        What drift and wander leave in the left-minus-right arrival, one sigma.
    jump_s : float
        Recorder time lost (negative) or repeated (positive) between passes.
    jump_after : int or None
        Index in the list of used passes after which the jump lies.
    placed : bool
        False where samples were lost and it can't be said where.
    """

    drift_ppm: float
    std_ppm: float
    measured: bool
    left_right_std_s: float
    jump_s: float = 0.0
    jump_after: int | None = None
    placed: bool = True

    @property
    def ratio(self) -> float:
        """Recorder seconds per player second."""
        return 1 + self.drift_ppm * 1e-6


TOLD_SAMPLES = 10.0
"""A jump is told only if the passes leave less open than this, one sigma, with arrivals of
the two sides known to a sample: four passes leave two samples, three a hundred."""


def delay_between(first: Float, second: Float, *, sample_rate_hz: float) -> Delay:
    """Return how much later the first of two like responses is.

    Parameters
    ----------
    first, second : ndarray, shape (n,)
        The same stretch of two responses of one loudspeaker.
    sample_rate_hz : float

    Returns
    -------
    Delay

    Raises
    ------
    ValueError
        If the shapes differ.
    """
    if first.shape != second.shape:
        msg = f"shapes {first.shape} and {second.shape} differ"
        raise ValueError(msg)
    n_fft = fft.next_fast_len(2 * first.size, real=True)
    spectra = fft.rfft(np.stack((first, second)), n_fft)
    cross = spectra[0] * np.conj(spectra[1])
    # Between whole samples the wrong period of a high band may stand higher than the right.
    n_fine = FINE * n_fft
    at = int(np.argmax(fft.irfft(cross, n_fine)))
    lag = (at - n_fine if at > n_fine // 2 else at) / FINE
    omega = 2 * np.pi * fft.rfftfreq(n_fft, 1 / sample_rate_hz)
    delay_s = _peak(cross, omega, lag / sample_rate_hz, sample_rate_hz)
    rotated = cross * np.exp(1j * omega * delay_s)
    energies = (np.abs(spectra) ** 2).sum(axis=1)
    joint = float(rotated.real.sum())
    coherence = joint / math.sqrt(float(energies.prod()) + 1e-300)
    # Noise of the difference, over the energy of the response's slope.
    noise = max(float(energies.sum()) - 2 * joint, 0.0) / (first.size * n_fft / 2)
    slope = float((omega**2 * np.maximum(rotated.real, 0)).sum()) / (n_fft / 2)
    return Delay(
        delay_s=delay_s,
        std_s=math.sqrt(noise / (slope + 1e-300)),
        coherence=coherence,
    )


def _peak(cross: Complex, omega: Float, start_s: float, sample_rate_hz: float) -> float:
    """Climb from the best whole sample to the correlation's peak by Newton's steps."""
    delay_s = start_s
    for _ in range(6):
        rotated = cross * np.exp(1j * omega * delay_s)
        gradient = float((omega * -rotated.imag).sum())
        curvature = float((omega**2 * -rotated.real).sum())
        if curvature >= 0:
            break
        step_s = -gradient / curvature
        step_s = float(np.clip(step_s, -0.5 / sample_rate_hz, 0.5 / sample_rate_hz))
        delay_s += step_s
        if abs(step_s) < 1e-13:
            break
    return delay_s


def fit_clock(
    starts_s: Float, late_s: Float, std_s: Float, sides: str, *, sample_rate_hz: float
) -> Clock:
    """Estimate the drift, and find samples lost between passes.

    Parameters
    ----------
    starts_s : ndarray, shape (n,)
        Start of each used pass in the programme, player seconds.
    late_s : ndarray, shape (n,)
        How much later than programmed each came, recorder seconds; a constant is
        common to all. Within a side exact; between the sides within some 0.1 ms.
    std_s : ndarray, shape (n,)
        One sigma of `late_s` within its side; infinite for a pass that shares no clean band
        with the others, which then tells nothing.
    sides : str
        One letter a pass.
    sample_rate_hz : float

    Returns
    -------
    Clock
    """
    known = np.flatnonzero(np.isfinite(std_s))
    clock = _fitted(
        starts_s[known],
        late_s[known],
        std_s[known],
        "".join(sides[at] for at in known),
        sample_rate_hz,
    )
    if clock.jump_after is None:
        return clock
    return replace(clock, jump_after=int(known[clock.jump_after]))


def _fitted(
    starts_s: Float, late_s: Float, std_s: Float, sides: str, sample_rate_hz: float
) -> Clock:
    """Fit the passes that tell something."""
    pairs = _drifts(starts_s, late_s, std_s, sides)
    lever_s = abs(_mean(starts_s, sides, "L") - _mean(starts_s, sides, "R"))
    if not pairs:
        return Clock(
            drift_ppm=0.0,
            std_ppm=UNKNOWN_PPM,
            measured=False,
            left_right_std_s=UNKNOWN_PPM * 1e-6 * lever_s,
        )
    drift, drift_std, spread = _combine(pairs)
    apart = len(pairs) == 2 and abs(pairs[0][0] - pairs[1][0]) > (
        JUMP_PPM * 1e-6 + 6 * math.hypot(pairs[0][1], pairs[1][1])
    )
    if apart or (abs(drift) > MAX_PPM * 1e-6 and not _confirmed(starts_s, sides)):
        return _with_jump(starts_s, late_s, sides, sample_rate_hz, lever_s)
    wander_s = spread * float(np.ptp(starts_s)) / 8 if len(pairs) == 2 else 0.0
    return Clock(
        drift_ppm=drift * 1e6,
        std_ppm=math.hypot(drift_std, spread / 2) * 1e6,
        measured=True,
        left_right_std_s=math.hypot(lever_s * math.hypot(drift_std, WANDER), wander_s),
    )


def _confirmed(starts_s: Float, sides: str) -> bool:
    """Say whether lost samples would have parted the two sides' drifts."""
    spans_s = [
        float(np.ptp([start for start, letter in zip(starts_s, sides, strict=True) if letter == s]))
        for s in "LR"
        if sides.count(s) > 1
    ]
    return len(spans_s) == 2 and max(spans_s) > 1.2 * min(spans_s)


WANDER = 0.05e-6
"""Relative change of a crystal's frequency over some ten seconds; common practice, no
source. It counts only where the sides' mean times differ."""


def _mean(starts_s: Float, sides: str, side: str) -> float:
    """Return the mean start of one side's passes, or of all where it has none."""
    of_side = [start for start, letter in zip(starts_s, sides, strict=True) if letter == side]
    return float(np.mean(of_side if of_side else starts_s))


def _drifts(starts_s: Float, late_s: Float, std_s: Float, sides: str) -> list[tuple[float, float]]:
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


def _combine(pairs: list[tuple[float, float]]) -> tuple[float, float, float]:
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


def _with_jump(
    starts_s: Float, late_s: Float, sides: str, sample_rate_hz: float, lever_s: float
) -> Clock:
    """Try one jump of whole samples after each pass, and take the plausible place."""
    options = []
    right = np.array([1.0 if letter == "R" else 0.0 for letter in sides])
    prior = np.array([1 / (UNKNOWN_PPM * 1e-6), 1 / PLAUSIBLE_DIFFERENCE_S])
    for after in range(len(sides) - 1):
        step = (np.arange(len(sides)) > after).astype(float)
        design = np.stack((np.ones_like(starts_s), starts_s, -right, step), axis=1)
        # Priors on drift and difference as two more observations; data to a sample.
        rows = np.zeros((2, 4))
        rows[0, 1], rows[1, 2] = prior
        system = np.vstack((design * sample_rate_hz, rows))
        target = np.concatenate((late_s * sample_rate_hz, np.zeros(2)))
        solution = np.linalg.lstsq(system, target, rcond=None)[0]
        chi2 = float(((system @ solution - target) ** 2).sum())
        jump_std = math.sqrt(float(np.linalg.pinv(system.T @ system)[3, 3])) * sample_rate_hz
        options.append((chi2, after, solution, jump_std))
    options.sort(key=lambda option: option[0])
    best_chi2, after, solution, jump_std = options[0]
    placed = len(options) == 1 or options[1][0] - best_chi2 > DECISIVE
    # With too few passes drift, difference and jump trade against each other.
    placed = placed and jump_std < TOLD_SAMPLES
    jump_s = round(float(solution[3]) * sample_rate_hz) / sample_rate_hz
    mended_s = late_s - jump_s * (np.arange(len(sides)) > after)
    tiny_s = np.full(len(sides), 0.01 / sample_rate_hz)
    pairs = _drifts(starts_s, mended_s, tiny_s, sides) if placed else []
    if not pairs:
        return Clock(
            drift_ppm=0.0,
            std_ppm=UNKNOWN_PPM,
            measured=False,
            left_right_std_s=UNKNOWN_PPM * 1e-6 * lever_s + abs(jump_s),
            jump_s=jump_s,
            jump_after=after,
            placed=False,
        )
    drift, drift_std, spread = _combine(pairs)
    return Clock(
        drift_ppm=drift * 1e6,
        std_ppm=math.hypot(drift_std, spread / 2) * 1e6,
        measured=True,
        left_right_std_s=math.hypot(lever_s * drift_std, spread * float(np.ptp(starts_s)) / 8),
        jump_s=jump_s,
        jump_after=after,
        placed=True,
    )
