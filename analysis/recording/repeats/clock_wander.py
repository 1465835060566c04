r"""Did the clock wander, or were samples lost in a pause? Both move passes; only one makes ramps.

Conventions: *late* in recorder seconds against the programme, as in `analysis.recording.clock`;
a *ramp* is the change of the recorder's rate from one pass to another of its side, as a ratio.

The recorder's lateness is modelled as :math:`x(t) = D t + \int w + T\,[t > t_k]`: a constant
drift D, a rate w that walks at random (a Wiener process of unknown strength q, in which the
rate's change has variance :math:`q^2 \Delta t`), and perhaps T whole samples lost in pause k. The
passes of a side tell differences of x, the ramps differences of its slope. Each T, k and q has
its probability from how well it explains both (Gaussian evidence with the priors below), and what
is left between left and right is the mean and scatter over all of them.

References
----------
C. E. Rasmussen and C. K. I. Williams, "Gaussian Processes for Machine Learning", 2006, chapters
2 and 5 (from memory): prediction and evidence. D. W. Allan, "Statistics of atomic frequency
standards", Proc. IEEE 54(2), 1966 (from memory): random walk of a clock's frequency.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from analysis.basics.arrays import Float
from analysis.recording.clock import UNKNOWN_PPM

STEADY = 5e-9
"""q of a steady clock, a second's square root: 0.016 ppm in 10 s. Crystals do better than 0.05 ppm
over some ten seconds: common practice, no source."""

WANDERS = STEADY * 2.0 ** np.arange(12)
"""Values of q tried, up to 10 ppm in a second, each as likely as the last."""

MOST_LOST = 25
"""Lost samples tried, either way; more are found by `analysis.recording.clock`."""

LOSS_PRIOR = 1e-3
"""Probability, before anything is known, that one sample was lost in a given pause; n samples
are n times less likely."""

UNLIKELY = 1e-6
"""A steady clock leaves so large a chi squared once in so many readings: less is no sign."""

LEAST_LATE_STD_S = 2e-9
"""A delay told better than to 0.7 micrometres of sound is told no better: numbers' limit."""

SLOPE_TIME_S = 0.5
"""A ramp is the mean over the last seconds of a pass, where the high octaves lie, so it differs
from the rate at the reference time by what q makes of it in this time."""

CERTAIN, RULED_OUT = 0.99, 0.05
"""A place and number of lost samples are told from the first probability on; a loss less likely
than the second isn't carried: some orders could never rule one out, whatever was recorded."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Repeats:
    """What the passes of all sides tell of the recorder's time line.

    Attributes
    ----------
    at_s : ndarray, shape (n_passes,)
        When each pass reaches the reference frequency, player seconds.
    pairs : tuple of (int, int)
        Indices of two passes of one side.
    late_s, late_std_s, ramp, ramp_std : ndarray, shape (n_pairs,)
        Of the second against the first.
    """

    at_s: Float
    pairs: tuple[tuple[int, int], ...]
    late_s: Float
    late_std_s: Float
    ramp: Float
    ramp_std: Float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class TimeLine:
    """The recorder's time line, and which explanation holds.

    Attributes
    ----------
    late_s : ndarray, shape (n_passes,)
        Expected lateness of each pass, without the way the sound takes.
    drift : float
        Mean rate over the passes, as a ratio.
    left_right_std_s : float
        One sigma of the mean of left passes less that of right ones.
    loss_probability : float
        That samples were lost or repeated in a pause.
    n_lost : int
        The likeliest number, negative where samples were repeated.
    lost_after : int or None
        Index of the pass after which, where that is certain.
    """

    late_s: Float
    drift: float
    left_right_std_s: float
    loss_probability: float
    n_lost: int
    lost_after: int | None


def is_steady(repeats: Repeats) -> bool:
    """Say whether a steady clock without any loss explains the passes."""
    told, _, covariance = _observe(repeats, STEADY)
    chi2 = float(told @ np.linalg.solve(covariance, told))
    return chi2 < float(chdtri(told.size - 1, UNLIKELY))


def infer_time_line(repeats: Repeats, sides: str, *, sample_s: float) -> TimeLine:
    """Return the time line and the probability of a loss.

    Parameters
    ----------
    sides : str
        One letter a pass.
    sample_s : float
        Of the recorder, in seconds.
    """
    left = np.array([letter == "L" for letter in sides])
    apart = left / left.sum() - ~left / (~left).sum()
    counts = np.concatenate([np.arange(-MOST_LOST, 0), np.arange(1, MOST_LOST + 1)])
    places = [(after, count) for after in range(left.size - 1) for count in counts]
    lost = np.array([0, *(count for _, count in places)])
    steps = np.zeros((lost.size, left.size))
    for row, (after, count) in enumerate(places, start=1):
        # Lost samples bring what follows forward.
        steps[row, after + 1 :] = -count * sample_s
    prior = np.log(np.where(lost == 0, 1.0, LOSS_PRIOR / np.maximum(np.abs(lost), 1)))
    weights, lines, rates, variances = [], [], [], []
    for wander in WANDERS:
        evidence, line, rate, covariance = _explain(repeats, float(wander), steps)
        weights.append(evidence + prior)
        lines.append(line)
        rates.append(rate)
        variances.append(np.full(lost.size, float(apart @ covariance @ apart)))
    weight = np.exp(np.array(weights) - np.max(weights))
    weight /= weight.sum()
    loss_probability = 1.0 - float(weight[:, 0].sum())
    if loss_probability < RULED_OUT:
        weight[:, 1:] *= 1e-9
        weight /= weight.sum()
    line, variance = np.array(lines), np.array(variances)
    late_s = np.einsum("qh,qhn->n", weight, line)
    scatter = (line - late_s) @ apart
    by_loss = weight.sum(axis=0)
    best = 1 + int(np.argmax(by_loss[1:]))
    return TimeLine(
        late_s=late_s,
        drift=float((weight * np.array(rates)).sum()),
        left_right_std_s=float(np.sqrt((weight * (variance + scatter**2)).sum())),
        loss_probability=loss_probability,
        n_lost=int(lost[best]),
        lost_after=places[best - 1][0] if by_loss[best] > CERTAIN else None,
    )


def _observe(repeats: Repeats, wander: float) -> tuple[Float, Float, Float]:
    """Return what was told, how it follows from lateness and rate, and its covariance."""
    n, m = repeats.at_s.size, len(repeats.pairs)
    told = np.concatenate((repeats.late_s, repeats.ramp))
    design = np.zeros((2 * m, 2 * n))
    for row, (first, second) in enumerate(repeats.pairs):
        design[row, [first, second]] = -1, 1
        design[m + row, [n + first, n + second]] = -1, 1
    late_noise = _pair_noise(repeats.pairs, np.maximum(repeats.late_std_s, LEAST_LATE_STD_S) ** 2)
    ramp_noise = _pair_noise(repeats.pairs, repeats.ramp_std**2 + 2 * wander**2 * SLOPE_TIME_S)
    covariance = design @ _line_covariance(repeats.at_s, wander) @ design.T
    covariance[:m, :m] += late_noise
    covariance[m:, m:] += ramp_noise
    return told, design, covariance


def _pair_noise(pairs: tuple[tuple[int, int], ...], variance: Float) -> Float:
    """Return the covariance of differences between passes, half of each variance a pass's."""
    noise = np.diag(variance)
    for row, (_, second) in enumerate(pairs):
        for column, (first, _) in enumerate(pairs):
            if second == first:
                shared = -0.5 * np.sqrt(variance[row] * variance[column])
                noise[row, column] = noise[column, row] = shared
    return noise


def _line_covariance(at_s: Float, wander: float) -> Float:
    """Return the prior covariance of lateness and rate at each pass, shape (2 n, 2 n)."""
    since_s = at_s - at_s.min()
    early, late = np.minimum.outer(since_s, since_s), np.maximum.outer(since_s, since_s)
    rates = early
    lateness = early**2 * late / 2 - early**3 / 6
    # Row: the time of the lateness; column: that of the rate.
    row, column = since_s[:, np.newaxis], since_s
    mixed = np.where(column <= row, column * row - column**2 / 2, row**2 / 2)
    walk = wander**2 * np.block([[lateness, mixed], [mixed.T, rates]])
    centred_s = at_s - at_s.mean()
    drift = np.concatenate((centred_s, np.ones(at_s.size))) * UNKNOWN_PPM * 1e-6
    return np.asarray(walk + np.outer(drift, drift))


def _explain(repeats: Repeats, wander: float, steps: Float) -> tuple[Float, Float, Float, Float]:
    """Return the log evidence of each set of steps, lines, mean rates, and lines' covariance."""
    n = repeats.at_s.size
    told, design, covariance = _observe(repeats, wander)
    prior = _line_covariance(repeats.at_s, wander)
    gain = np.linalg.solve(covariance, design @ prior).T
    stepped = steps @ design[:, :n].T
    rest = told - stepped
    log_det = float(np.linalg.slogdet(covariance)[1])
    evidence = -0.5 * (rest * np.linalg.solve(covariance, rest.T).T).sum(axis=1) - 0.5 * log_det
    latent = rest @ gain.T
    left = prior - gain @ design @ prior
    return evidence, latent[:, :n] + steps, latent[:, n:].mean(axis=1), left[:n, :n]
