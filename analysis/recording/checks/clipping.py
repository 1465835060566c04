"""Flat tops: samples cut off at the recording's extreme values.

Conventions: full scale is 1, levels in dB re full scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.basics.arrays import Float
from analysis.recording.alignment import AlignedPasses
from analysis.recording.checks.check import Check
from analysis.recording.dropouts.zero_blocks import quantisation_step
from analysis.signals.deconvolution import LEAD_S
from analysis.signals.programme import Programme

FLAT_RUN = 3
"""Samples in a row at the extreme value that make a flat top."""

FLATNESS = 0.1
"""A flat top bends by less than this share of the drop to its neighbours."""

MIN_FLAT_RUNS = 4
"""A quantised crest may be flat once or twice, by chance."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Clipping:
    """Flat tops found.

    Attributes
    ----------
    level_dbfs : float
        Where they are flat.
    band_hz : tuple of float or None
        What the sweep was playing when it happened.
    """

    n_runs: int
    level_dbfs: float
    band_hz: tuple[float, float] | None


def find_clipping(
    samples: Float, sample_rate_hz: float, aligned: AlignedPasses, programme: Programme
) -> Clipping:
    """Find flat tops at the recording's extreme values.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        As recorded, before any resampling.
    """
    runs = np.concatenate([_find_flat_runs(samples, sign) for sign in (1, -1)])
    peak = float(np.abs(samples).max()) if samples.size else 0.0
    level_dbfs = 20 * np.log10(peak + 1e-12)
    if len(runs) < MIN_FLAT_RUNS:
        return Clipping(n_runs=0, level_dbfs=level_dbfs, band_hz=None)
    at_s = runs[:, 0] / sample_rate_hz
    played = []
    for extracted in aligned.passes:
        since_s = at_s - extracted.first / programme.sample_rate_hz - LEAD_S
        inside = (since_s > -0.01) & (since_s < programme.sweep.duration_s + 0.05)
        played.append(programme.sweep.frequency_at(np.maximum(since_s[inside], 0)))
    frequency_hz = np.concatenate(played) if played else np.zeros(0)
    band = (float(frequency_hz.min()), float(frequency_hz.max())) if frequency_hz.size else None
    return Clipping(n_runs=len(runs), level_dbfs=level_dbfs, band_hz=band)


def _find_flat_runs(samples: Float, sign: int) -> np.ndarray:
    """Return (start, stop) of runs at the largest value that are cut off, not rounded."""
    signed = samples * sign
    peak = float(signed.max())
    if peak <= 0:
        return np.zeros((0, 2), dtype=int)
    top = signed >= peak * (1 - 1e-4)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], top.astype(np.int8), [0]))))
    runs = edges.reshape(-1, 2)
    runs = runs[(np.diff(runs, axis=1)[:, 0] >= FLAT_RUN)]
    runs = runs[(runs[:, 0] > 0) & (runs[:, 1] < samples.size)]
    drop = np.maximum(
        peak - signed[runs[:, 0] - 1], peak - signed[np.minimum(runs[:, 1], samples.size - 1)]
    )
    # A crest that is whole bends inside, a quarter of that drop over three samples; one
    # that was cut off is flat but for rounding.
    bend = np.array([peak - float(signed[begin:end].min()) for begin, end in runs])
    return runs[FLATNESS * drop > bend + quantisation_step(samples)]


def check_clipping(clipping: Clipping) -> Check:
    """Judge flat tops."""
    if clipping.n_runs == 0:
        return Check(name="clipping", verdict="pass", detail="no flat tops")
    where = (
        f" while the sweep played {clipping.band_hz[0]:.0f} to {clipping.band_hz[1]:.0f} Hz"
        if clipping.band_hz
        else " outside the passes"
    )
    return Check(
        name="clipping",
        verdict="fail" if clipping.band_hz else "warn",
        detail=f"{clipping.n_runs} flat tops at {clipping.level_dbfs:.1f} dBFS{where}: turn the "
        "microphone's gain down and record again",
    )
