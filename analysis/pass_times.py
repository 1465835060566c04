"""When each pass came, by its likeness to the other passes of its side.

Conventions: times in recorder seconds; *late* is how much later than programmed a pass came.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.fft as fft

from analysis.arrays import Float
from analysis.clock import Delay, delay_between
from analysis.deconvolution import LEAD_S, Inverse
from analysis.passes import Placement
from analysis.programme import Programme
from analysis.spoilage import Harm, clean_share
from analysis.used_passes import UsedPass, by_side

TIMING_BAND_HZ = (250.0, 14_000.0)
"""Passes are timed over this band: clear of rumble below and of the microphone's and the
air's losses above."""

LEAST_SHARED = 0.1
"""Two passes are timed against each other if they share this part of the timing band's
octaves."""

UNLIKE, MORE_ALIKE = 0.9, 0.1
"""Two passes of one side are compared with the other side's if their correlation lies below
the first, and taken for another order's if one of those is higher by the second."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Timer:
    """Times passes against each other over the timing band.

    Attributes
    ----------
    passes : tuple of UsedPass
    plain : Inverse
    weight : ndarray, shape (n_bins,)
        Of each frequency.
    shares : ndarray, shape (n_passes, n_bins), or None
        How far each pass is clean; None where all are.
    whole : dict
        Stretches of responses over the whole band, kept for the next time.
    """

    passes: tuple[UsedPass, ...]
    plain: Inverse
    weight: Float
    shares: Float | None
    whole: dict[int, Float] = field(default_factory=dict)

    def octaves(self, *which: int) -> float:
        """Return the share of the timing band's octaves in which all these passes are clean."""
        if self.shares is None:
            return 1.0
        octave = self.weight / np.maximum(self.plain.frequency_hz, 1.0)
        return float((self.shares[list(which)].prod(axis=0) * octave).sum() / octave.sum())

    def delay(self, first: int, second: int, *, clean: bool = True) -> Delay:
        """Return how much later one pass's response is, over what is clean in both."""
        share = None
        if clean and self.shares is not None:
            share = self.shares[first] * self.shares[second]
        pair = self._stretch(first, share), self._stretch(second, share)
        return delay_between(*pair, sample_rate_hz=self.plain.sample_rate_hz)

    def _stretch(self, at: int, share: Float | None) -> Float:
        if share is None and at in self.whole:
            return self.whole[at]
        rate_hz = self.plain.sample_rate_hz
        window = np.arange(round((LEAD_S - 0.02) * rate_hz), round((LEAD_S + 0.1) * rate_hz))
        product = self.passes[at].spectrum * self.plain.spectrum
        product *= self.weight if share is None else self.weight * share
        found = np.take(fft.irfft(product, self.plain.n_fft), window, mode="wrap")
        if share is None:
            self.whole[at] = found
        return found


def lateness(
    passes: tuple[UsedPass, ...],
    plain: Inverse,
    programme: Programme,
    placement: Placement,
    harm: Harm,
) -> tuple[Float, Float, bool]:
    """Return how much later than programmed each pass came, and one sigma within its side.

    Parameters
    ----------
    passes : tuple of UsedPass
    plain : Inverse
        Of the sweep without any clock difference.
    programme : Programme
    placement : Placement
    harm : Harm

    Returns
    -------
    late_s, std_s : ndarray, shape (n_passes,)
        NaN and infinite for a pass that shares too little clean band with its side's best.
    order_doubtful : bool
        Whether passes of one side are less alike than left and right.
    """
    timer = _Timer(
        passes=passes,
        plain=plain,
        weight=_timing_weight(plain.frequency_hz, programme),
        shares=clean_share(harm, plain.frequency_hz)[0] if harm.direct.any() else None,
    )
    late_s, std_s, alike = np.zeros(len(passes)), np.full(len(passes), 1e-9), {}
    sides = [sorted(side, key=lambda at: -timer.octaves(at)) for side in by_side(passes)]
    if len(sides) == 2:
        late_s[sides[1]] = timer.delay(sides[1][0], sides[0][0], clean=False).delay_s
    for reference, *others in sides:
        for at in others:
            if timer.octaves(at, reference) < LEAST_SHARED:
                late_s[at], std_s[at] = np.nan, np.inf
                continue
            found = timer.delay(at, reference)
            late_s[at] += found.delay_s
            std_s[at], alike[at] = found.std_s / np.sqrt(2), found.coherence
        timed = [at for at in others if np.isfinite(std_s[at])]
        std_s[reference] = float(np.mean(std_s[timed])) if timed else 1e-9
    starts_s = np.array([programme.starts_s[used.index] for used in passes])
    first_s = np.array([used.first for used in passes]) / programme.sample_rate_hz
    late_s += first_s - starts_s - placement.origin_s + LEAD_S
    return late_s, std_s, _order_doubtful(timer, alike)


def _order_doubtful(timer: _Timer, alike: dict[int, float]) -> bool:
    """Say whether a pass is more like one of the other side than like its own side's."""
    least = min(alike, key=lambda at: alike[at], default=None)
    if least is None or alike[least] > UNLIKE:
        return False
    return any(
        timer.delay(least, at, clean=False).coherence > alike[least] + MORE_ALIKE
        for at, used in enumerate(timer.passes)
        if used.side != timer.passes[least].side
    )


def _timing_weight(frequency_hz: Float, programme: Programme) -> Float:
    """Return the weight of each frequency in timing the passes, 0 to 1."""
    sweep = programme.sweep
    high_hz = min(TIMING_BAND_HZ[1], 0.8 * sweep.stop_hz)
    low_hz = max(min(TIMING_BAND_HZ[0], high_hz / 4), 1.5 * sweep.start_hz)
    rise = np.clip(np.log2(np.maximum(frequency_hz, 1) / low_hz) * 2, 0, 1)
    fall = np.clip(np.log2(high_hz / np.maximum(frequency_hz, 1)) * 4, 0, 1)
    return np.asarray(rise * fall)
