r"""Whether what was found is this sweep: then every band of it arrives at one time.

Conventions: times in seconds from the start of a pass's cut, negative ones before it; the
*slope* is how much later a band arrives per neper (a factor e) of frequency.

A sweep passes frequency f at :math:`L \ln f` and a constant. One that was made with another
:math:`L'`, or played at another speed, is undone only up to a delay of
:math:`(L' - L)\ln f`: a straight line over the logarithm of frequency, which a room or a
loudspeaker doesn't make. A click is the case :math:`L' = 0`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float

BAND_OCTAVES = 0.5
LOWEST_HZ = 1000.0
"""Above, the direct sound of most rooms leads what follows it."""

HIGHEST_HZ = 12_000.0

EDGE = 0.5
"""A band has arrived where its envelope reaches this share of its peak..."""

BEFORE_S = 0.03
"""... looked for so long before the peak, which may be a reflection's."""

EDGE_WIDTHS = 0.6
"""By this part of the band's resolution time the edge comes before the arrival."""

LEAST_PEAK = 6.0
"""A band counts if its peak stands so far above the envelope's median."""

FEWEST_BANDS = 4

MOST_OFF_LINE_S = 4e-3
"""Reflections may take a band so far off the line."""

LEAST_SLOPE_S, LEAST_SLOPE = 1.5e-3, 0.02
"""A slope below these seconds a neper, this share of L, or the bands' resolution, may be
the room's: in simulated living rooms reflections that are stronger at one end of the bands
made up to 8 ms a neper, a hundredth of a 6 s sweep's L."""

STEEPEST = 0.03
"""Bands that scatter may have a steeper slope by chance, but not by more than this share
of L."""

LONGEST_BLOCK_S = 0.7
"""A lost or repeated block makes no larger step."""

ON_LINE, SCATTERED = 0.85, 0.4
"""A line is one if this share of the bands lies on it; of the programme's sweep more than the
second lie together even in a reverberant room."""

CLICK = 0.15
"""A line within this share of the click's is no sweep's."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ArrivalLine:
    """The line on which a pass's bands arrive.

    Attributes
    ----------
    slope_s : float
        Seconds a neper.
    room_slope_s : float
        A slope that may be the room's.
    share : float
        Share of the bands that lie on it, 0 to 1.
    n_bands, n_recorded : int
        Bands that stood out, and those that the pass could hold.
    step_s : float or None
        Size of the step where two levels, as a block lost inside the pass makes, fit better.
    """

    slope_s: float
    room_slope_s: float
    share: float
    n_bands: int
    n_recorded: int
    step_s: float | None

    def is_programme_sweep(self, growth_s: float) -> bool:
        """Say whether the bands arrive together, as those of the programme's own sweep do."""
        if self.n_bands < FEWEST_BANDS:
            # Too little of a pass was recorded; or a tone, which fills few bands.
            return self.n_recorded < FEWEST_BANDS
        steep = abs(self.slope_s)
        if self.step_s is not None:
            return self.step_s < LONGEST_BLOCK_S
        if steep < max(self.room_slope_s, LEAST_SLOPE * growth_s):
            return self.share > SCATTERED
        return SCATTERED < self.share < ON_LINE and steep < STEEPEST * growth_s

    def is_other_sweep(self, growth_s: float) -> bool:
        """Say whether they arrive along a slope, as those of another sweep do."""
        is_line = self.n_bands >= FEWEST_BANDS and self.share >= ON_LINE
        is_click = abs(self.slope_s + growth_s) < CLICK * growth_s
        return is_line and not is_click and not self.is_programme_sweep(growth_s)


def fit_arrival_line(
    transfer: Complex, *, n_fft: int, sample_rate_hz: float, band_hz: tuple[float, float]
) -> ArrivalLine:
    """Fit the arrivals of a pass's bands.

    Parameters
    ----------
    transfer : ndarray of complex, shape (n_fft // 2 + 1,)
        Spectrum of the pass times the inverse of the sweep.
    band_hz : tuple of float
        What the sweep and the recording hold.
    """
    high_hz = min(HIGHEST_HZ, band_hz[1] / 1.15)
    low_hz = max(min(LOWEST_HZ, high_hz / 8), 1.3 * band_hz[0])
    n_bands = int(np.log2(max(high_hz / low_hz, 1.0)) / BAND_OCTAVES)
    edges_hz = low_hz * 2 ** (BAND_OCTAVES * np.arange(n_bands + 1))
    found = [
        (np.log(np.sqrt(begin_hz * end_hz)), *arrival)
        for begin_hz, end_hz in pairwise(edges_hz)
        if (arrival := _find_band_arrival(transfer, n_fft / sample_rate_hz, begin_hz, end_hz))
        is not None
    ]
    if len(found) < 2:
        return ArrivalLine(
            slope_s=0.0,
            room_slope_s=0.0,
            share=0.0,
            n_bands=len(found),
            n_recorded=n_bands,
            step_s=None,
        )
    log_hz, at_s, resolution_s = np.array(found).T
    first, second = np.triu_indices(log_hz.size, 1)
    slopes_s = (at_s[second] - at_s[first]) / (log_hz[second] - log_hz[first])
    slope_s = float(np.median(slopes_s))
    rest_s = at_s - slope_s * log_hz
    rest_s = np.abs(rest_s - np.median(rest_s))
    allowed_s = MOST_OFF_LINE_S + resolution_s + 0.5 * abs(slope_s) * BAND_OCTAVES * np.log(2)
    step_rest_s, step_s = _fit_step(at_s)
    return ArrivalLine(
        slope_s=slope_s,
        room_slope_s=max(LEAST_SLOPE_S, float(np.median(resolution_s))),
        share=float(np.mean(rest_s < allowed_s)),
        n_bands=log_hz.size,
        n_recorded=n_bands,
        step_s=step_s if step_rest_s < 0.5 * float(rest_s.sum()) else None,
    )


def _find_band_arrival(
    transfer: Complex, length_s: float, begin_hz: float, end_hz: float
) -> tuple[float, float] | None:
    """Return when a band arrives and its resolution, or None if it doesn't stand out."""
    first, last = int(begin_hz * length_s), int(end_hz * length_s)
    part = transfer[first:last] * np.sin(np.linspace(0, np.pi, last - first))
    n_out = fft.next_fast_len(2 * (last - first))
    height = np.abs(fft.ifft(part, n_out))
    at = int(np.argmax(height))
    if height[at] < LEAST_PEAK * float(np.median(height)):
        return None
    step_s = length_s / n_out
    before = np.arange(at - round(BEFORE_S / step_s), at + 1)
    at = int(before[int(np.argmax(height[before] > EDGE * height[at]))])
    at_s = at * step_s
    resolution_s = 1 / (end_hz - begin_hz)
    at_s -= length_s if at_s > length_s / 2 else 0.0
    return at_s + EDGE_WIDTHS * resolution_s, resolution_s


def _fit_step(at_s: Float) -> tuple[float, float]:
    """Return what the best two levels leave of the arrivals, and their distance, in seconds."""
    fits = []
    for split in range(1, at_s.size):
        low, high = at_s[:split], at_s[split:]
        rest = np.abs(low - np.median(low)).sum() + np.abs(high - np.median(high)).sum()
        fits.append((float(rest), float(abs(np.median(high) - np.median(low)))))
    return min(fits)
