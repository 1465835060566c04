"""Blocks of exact zeros that a recorder put in, told from zeros to which it rounded quiet sound.

Conventions: as in `analysis.recording.dropouts.delay_step`; full scale is 1.
"""

from __future__ import annotations

import numpy as np

from analysis.basics.arrays import Float
from analysis.recording.dropouts.block import DropoutBlock

N_LOOKED_AT = 20_000

SMALLEST_STEP = 1e-7
"""Just below a 24-bit step, 1.2e-7; what is finer counts as no rounding."""

MIN_ZEROS_S = 0.001
"""Shorter runs of zeros occur in quiet 16-bit noise."""

ZERO_MOVES = 100.0
"""A run of zeros is no accident of rounding if the sound beside it moves by this many
quantisation steps in the run's time: a rounded 20 Hz tone dwells on zero for about one
step's worth, noise below half a step for some tens."""


def find_zero_blocks(samples: Float, sample_rate_hz: float) -> tuple[DropoutBlock, ...]:
    """Find blocks of exact zeros amid sound.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        As read, before any resampling.

    Returns
    -------
    tuple of DropoutBlock
        Where zeros are common, as in a recording without noise, only runs amid loud sound.
    """
    zero = samples == 0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], zero.astype(np.int8), [0]))))
    runs = edges.reshape(-1, 2)
    runs = runs[np.diff(runs, axis=1)[:, 0] >= MIN_ZEROS_S * sample_rate_hz]
    if runs.size == 0:
        return ()
    loud = 0.02 * float(np.sqrt(np.mean(samples**2))) if float(zero.mean()) > 0.1 else 0.0
    step = quantisation_step(samples)
    near = round(0.01 * sample_rate_hz)
    return tuple(
        DropoutBlock(at=int(begin), n_samples=int(end - begin), kind="zeroed")
        for begin, end in runs
        if near <= begin <= end <= samples.size - near
        and _is_amid_sound(samples[begin - near : begin], end - begin, loud, step)
        and _is_amid_sound(samples[end : end + near], end - begin, loud, step)
    )


def _is_amid_sound(beside: Float, n_zeros: int, loud: float, step: float) -> bool:
    """Say whether the sound beside a run is too lively to have been zero for so long."""
    moves = float(np.abs(np.diff(beside)).mean()) * min(n_zeros, beside.size)
    return float(np.abs(beside).max()) > loud and moves > ZERO_MOVES * step


def quantisation_step(samples: Float) -> float:
    """Return the smallest step between sample values, 0 for samples without one.

    Parameters
    ----------
    samples : ndarray, shape (n,)

    Examples
    --------
    >>> quantisation_step(np.array([-3.0, 0.0, 1.0, 2.0]) / 2**15) == 2.0**-15
    True
    """
    values = np.unique(samples[:: max(1, samples.size // N_LOOKED_AT)])
    steps = np.diff(values)
    return float(steps.min()) if steps.size and steps.min() > SMALLEST_STEP else 0.0
