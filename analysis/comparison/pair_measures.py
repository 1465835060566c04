"""A pair's bass and symmetry in a few numbers, to stand beside another pair's.

Conventions: levels are those of `analysis.comparison.groups.compare`, in dB against the
reference band. *Evenness*: standard deviation of the sixth-octave level of both loudspeakers'
mean power about a straight line over the logarithm of frequency, 25 to 200 Hz; less is more
even. *Worst dip*: how far the lowest point lies below that line. *Extension*: the lowest
frequency at which the third-octave level of both reaches `EXTENSION_DB` below its mean from 50
to 200 Hz, whatever dips lie above it. *Likeness*: root mean square of left minus right, third
octaves, in each band of `BANDS_HZ`, the mean left out; less is more alike. Numbers that differ
say that pairs or placements differ, never which is better.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.basics.repeat_statistics import Repeats

EVEN_HZ: Final = (25.0, 200.0)
MEAN_HZ: Final = (50.0, 200.0)
EXTENSION_DB: Final = 6.0
"""The usual limit of a bass range beside 3 and 10 dB: common practice, no source."""

BANDS_HZ: Final = ((25.0, 200.0), (200.0, 2000.0), (2000.0, 10_000.0))

STDS: Final = {"evenness": 0.2, "worst dip": 1.0, "extension": 1.0, "likeness": 0.3}
"""One sigma from one reading to the next, in dB and Hz, as a start: repeats replace it. Common
practice, no source."""

LEAST_CHANGES: Final = {"evenness": 0.3, "worst dip": 1.0, "extension": 2.0, "likeness": 0.5}
"""Smaller differences are none, however sure. Common practice, no source."""


def pair_measures(
    grid_hz: Float, curves_db: Float, wide_hz: Float, wide_db: Float
) -> dict[str, float]:
    """Return the numbers of one reading.

    Parameters
    ----------
    grid_hz : ndarray, shape (n,)
    curves_db : ndarray, shape (2, n)
        Left and right, smoothed over 1/6 octave, 20 to 300 Hz.
    wide_hz : ndarray, shape (m,)
    wide_db : ndarray, shape (2, m)
        Smoothed over 1/3 octave.

    Returns
    -------
    dict of str to float
        By their words; NaN where nothing was sampled.
    """
    inside = (grid_hz >= EVEN_HZ[0]) & (grid_hz <= EVEN_HZ[1])
    level = _mean_level_db(curves_db[:, inside])
    octave = np.log2(grid_hz[inside])
    about = level - np.polyval(np.polyfit(octave, level, 1), octave)
    found = {
        "evenness of the bass": float(np.std(about)),
        "worst dip of the bass": float(about.min()),
        "extension of the bass": _extension_hz(wide_hz, _mean_level_db(wide_db)),
    }
    for low_hz, high_hz in BANDS_HZ:
        band = (wide_hz >= low_hz) & (wide_hz <= high_hz) & np.isfinite(wide_db).all(axis=0)
        unlike = wide_db[0, band] - wide_db[1, band]
        size = float(np.std(unlike)) if unlike.size > 2 else math.nan
        found[f"unlikeness of left and right, {low_hz:g} to {high_hz:g} Hz"] = size
    return found


def _mean_level_db(levels_db: Float) -> Float:
    """Return the level of the mean power of left and right."""
    return np.asarray(10 * np.log10(np.mean(10 ** (levels_db / 10), axis=0)))


def _extension_hz(wide_hz: Float, level_db: Float) -> float:
    """Return the lowest frequency at which the level is reached."""
    usual = (wide_hz >= MEAN_HZ[0]) & (wide_hz <= MEAN_HZ[1])
    limit = float(np.mean(level_db[usual])) - EXTENSION_DB
    k = int(np.argmax(level_db >= limit))
    if k == 0:
        return float(wide_hz[0])
    share = (limit - level_db[k - 1]) / (level_db[k] - level_db[k - 1])
    return float(wide_hz[k - 1] * (wide_hz[k] / wide_hz[k - 1]) ** share)


def measure_repeats(groups: Sequence[Sequence[dict[str, float]]]) -> list[Repeats]:
    """Return the numbers of two groups of readings, to be judged; those that all have.

    Parameters
    ----------
    groups : sequence of sequence of dict
        Before and after, one `pair_measures` a reading.
    """
    found = []
    for name in groups[0][0]:
        values = [tuple(one[name] for one in group) for group in groups]
        if not all(math.isfinite(one) for group in values for one in group):
            continue
        kind = next(key for key in STDS if key in name.replace("unlike", "like"))
        found.append(
            Repeats(
                name=name,
                unit="Hz" if kind == "extension" else "dB",
                before=values[0],
                after=values[1],
                stated_std=STDS[kind],
                least=LEAST_CHANGES[kind],
                family="measure",
            )
        )
    return found
