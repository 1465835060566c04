"""What a lost block disturbs at the end of a sweep, where no step of the delay shows.

Conventions: as in `analysis.recording.disturbance.detection` and
`analysis.recording.dropouts.delay_step`.

A block lost or repeated when the sweep has nearly reached its highest frequency leaves too
few bands above it to see the step. What follows it comes early or late all the same, so it
looks like one in the pause after: then the end of the pass before that pause isn't
trusted. Nothing follows the last pass; its end is compared with its side's other pass.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from analysis.basics.arrays import Complex, Float
from analysis.recording.clock import Clock
from analysis.recording.disturbance.detection import Disturbance
from analysis.recording.extraction import ExtractedPass
from analysis.signals.deconvolution import LEAD_S, InverseSweep
from analysis.signals.delay import estimate_delay

UNSEEN_SHARE = 0.64
"""Above this share of the sweep's highest frequency, 14 kHz of 22, too few bands are left to
see a block lost inside a pass."""

UNLIKE_SHARE = 0.1
"""Two passes of a side whose difference holds more than this share of a band's energy, beside
the noise, aren't the same there: a tenth of a band is out of place, or all of it by a tenth
of a period."""

NOISE_EXCESS = 1.5
"""Noise of a band in 0.1 s differs by less than this factor from one stretch to the next."""

WIDTH_S, NOISE_AT_S = 0.1, -0.15
"""The arrival's stretch, and where noise alone is heard: before the arrival, after what the
sweep's harmonics make of it. A 2 s sweep's second harmonic lies at -0.2 s."""


def exclude_sweep_ends(
    disturbance: Disturbance,
    passes: tuple[ExtractedPass, ...],
    clock: Clock,
    nominal_inverse: InverseSweep,
    stop_hz: float,
) -> Disturbance:
    """Leave out the sweep ends that a block unseen may have moved.

    Parameters
    ----------
    nominal_inverse : InverseSweep
        Of the sweep without any clock difference.
    stop_hz : float
        The sweep's highest frequency.

    Returns
    -------
    Disturbance
        An end is left out only where the side's other passes are clean.
    """
    high = (disturbance.high_hz > UNSEEN_SHARE * stop_hz) & (disturbance.low_hz < stop_hz)
    if clock.jump_after is not None:
        disturbance = _exclude_bands(disturbance, passes, clock.jump_after, high)
    last = len(passes) - 1
    others = [at for at in range(last) if passes[at].side == passes[last].side]
    if not others:
        return disturbance
    served = high & ~(disturbance.direct[last] | disturbance.direct[others[-1]])
    unlike = _find_unlike_bands(
        passes[last], passes[others[-1]], nominal_inverse, disturbance, served
    )
    return _exclude_bands(disturbance, passes, last, unlike)


def _exclude_bands(
    disturbance: Disturbance, passes: tuple[ExtractedPass, ...], at: int, bands: NDArray[np.bool_]
) -> Disturbance:
    """Leave out some bands of a pass where another pass serves."""
    others = [
        other
        for other, extracted in enumerate(passes)
        if extracted.side == passes[at].side and other != at
    ]
    if not others or not bands.any():
        return disturbance
    served = bands & ~disturbance.direct[others].all(axis=0)
    direct, late = disturbance.direct.copy(), disturbance.late.copy()
    direct[at] |= served
    late[at] |= served
    return replace(disturbance, direct=direct, late=late)


def _find_unlike_bands(
    last: ExtractedPass,
    other: ExtractedPass,
    nominal_inverse: InverseSweep,
    disturbance: Disturbance,
    asked: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Say in which of the bands asked about two passes of a side aren't the same."""
    if not asked.any():
        return asked
    rate_hz = nominal_inverse.sample_rate_hz
    rows = [
        fft.irfft(extracted.spectrum * nominal_inverse.spectrum, nominal_inverse.n_fft)
        for extracted in (last, other)
    ]
    heard, noise = (
        [_window_stretch(row, begin_s, rate_hz) for row in rows]
        for begin_s in (LEAD_S - 0.02, NOISE_AT_S)
    )
    delay_s = estimate_delay(*heard, sample_rate_hz=rate_hz).delay_s
    frequency_hz = fft.rfftfreq(heard[0].size, 1 / rate_hz)
    turn = np.exp(2j * np.pi * frequency_hz * delay_s)
    spectra, floors = fft.rfft(heard), fft.rfft(noise)
    edges = np.searchsorted(
        frequency_hz, [disturbance.low_hz, np.minimum(disturbance.high_hz, rate_hz / 2)]
    )
    unlike = np.zeros(asked.size, dtype=bool)
    for band in np.flatnonzero(asked):
        part = slice(*edges[:, band])
        apart = _sum_squares(spectra[0, part] * turn[part] - spectra[1, part])
        total, floor = _sum_squares(spectra[:, part]), _sum_squares(floors[:, part])
        unlike[band] = apart > NOISE_EXCESS * floor + UNLIKE_SHARE * max(total - floor, 0.0)
    return unlike


def _window_stretch(row: Float, begin_s: float, rate_hz: float) -> Float:
    """Return a windowed stretch of a circular response."""
    n_samples = round(WIDTH_S * rate_hz)
    window = np.arange(n_samples) + round(begin_s * rate_hz)
    return np.asarray(np.take(row, window, mode="wrap") * np.hanning(n_samples))


def _sum_squares(spectrum: Complex) -> float:
    """Return the sum of squares."""
    return float((np.abs(spectrum) ** 2).sum())
