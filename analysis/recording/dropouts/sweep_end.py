"""What a lost block spoils at the top of a sweep, where no step of the delay shows.

Conventions: as in `analysis.recording.disturbance.detection` and
`analysis.recording.dropouts.detection`.

A block lost or repeated when the sweep has nearly reached its highest frequency leaves too
few bands above it to see the step. What follows it comes early or late all the same, so it
looks like one in the pause after: then the top of the pass before that pause isn't
trusted. Nothing follows the last pass; its top is held against its side's other pass.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from analysis.basics.arrays import Complex, Float
from analysis.recording.clock import Clock
from analysis.recording.disturbance.detection import Harm
from analysis.recording.extraction import UsedPass
from analysis.signals.deconvolution import LEAD_S, Inverse
from analysis.signals.delay import delay_between

UNSEEN = 0.64
"""Above this share of the sweep's highest frequency, 14 kHz of 22, too few bands are left to
see a block lost inside a pass."""

UNLIKE = 0.1
"""Two passes of a side whose difference holds more than this share of a band's energy, beside
the noise, aren't the same there: a tenth of a band is out of place, or all of it by a tenth
of a period."""

NOISE_EXCESS = 1.5
"""Noise of a band in 0.1 s differs by less than this factor from one stretch to the next."""

WIDTH_S, NOISE_AT_S = 0.1, -0.15
"""The arrival's stretch, and where noise alone is heard: before the arrival, after what the
sweep's harmonics make of it. A 2 s sweep's second harmonic lies at -0.2 s."""


def without_tops(
    harm: Harm, passes: tuple[UsedPass, ...], clock: Clock, plain: Inverse, stop_hz: float
) -> Harm:
    """Return the harm with the tops that a block unseen may have spoilt.

    Parameters
    ----------
    harm : Harm
    passes : tuple of UsedPass
    clock : Clock
    plain : Inverse
        Of the sweep without any clock difference.
    stop_hz : float
        The sweep's highest frequency.

    Returns
    -------
    Harm
        A top is left out only where the side's other passes are clean.
    """
    high = (harm.high_hz > UNSEEN * stop_hz) & (harm.low_hz < stop_hz)
    if clock.jump_after is not None:
        harm = _left_out(harm, passes, clock.jump_after, high)
    last = len(passes) - 1
    others = [at for at in range(last) if passes[at].side == passes[last].side]
    if not others:
        return harm
    served = high & ~(harm.direct[last] | harm.direct[others[-1]])
    unlike = _unlike(passes[last], passes[others[-1]], plain, harm, served)
    return _left_out(harm, passes, last, unlike)


def _left_out(harm: Harm, passes: tuple[UsedPass, ...], at: int, bands: NDArray[np.bool_]) -> Harm:
    """Return the harm with some bands of a pass left out where another pass serves."""
    others = [
        other for other, used in enumerate(passes) if used.side == passes[at].side and other != at
    ]
    if not others or not bands.any():
        return harm
    served = bands & ~harm.direct[others].all(axis=0)
    direct, late = harm.direct.copy(), harm.late.copy()
    direct[at] |= served
    late[at] |= served
    return replace(harm, direct=direct, late=late)


def _unlike(
    last: UsedPass, other: UsedPass, plain: Inverse, harm: Harm, asked: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Say in which of the bands asked about two passes of a side aren't the same."""
    if not asked.any():
        return asked
    rate_hz = plain.sample_rate_hz
    rows = [fft.irfft(used.spectrum * plain.spectrum, plain.n_fft) for used in (last, other)]
    heard, noise = (
        [_stretch(row, begin_s, rate_hz) for row in rows] for begin_s in (LEAD_S - 0.02, NOISE_AT_S)
    )
    delay_s = delay_between(*heard, sample_rate_hz=rate_hz).delay_s
    frequency_hz = fft.rfftfreq(heard[0].size, 1 / rate_hz)
    turn = np.exp(2j * np.pi * frequency_hz * delay_s)
    spectra, floors = fft.rfft(heard), fft.rfft(noise)
    edges = np.searchsorted(frequency_hz, [harm.low_hz, np.minimum(harm.high_hz, rate_hz / 2)])
    unlike = np.zeros(asked.size, dtype=bool)
    for band in np.flatnonzero(asked):
        part = slice(*edges[:, band])
        apart = _energy(spectra[0, part] * turn[part] - spectra[1, part])
        total, floor = _energy(spectra[:, part]), _energy(floors[:, part])
        unlike[band] = apart > NOISE_EXCESS * floor + UNLIKE * max(total - floor, 0.0)
    return unlike


def _stretch(row: Float, begin_s: float, rate_hz: float) -> Float:
    """Return a windowed stretch of a circular response."""
    n_samples = round(WIDTH_S * rate_hz)
    window = np.arange(n_samples) + round(begin_s * rate_hz)
    return np.asarray(np.take(row, window, mode="wrap") * np.hanning(n_samples))


def _energy(spectrum: Complex) -> float:
    """Return the sum of squares."""
    return float((np.abs(spectrum) ** 2).sum())
