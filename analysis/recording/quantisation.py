"""The step to which a recording's samples were rounded.

Conventions: full scale is 1.
"""

from __future__ import annotations

import numpy as np

from analysis.basics.arrays import Float

N_LOOKED_AT = 20_000

SMALLEST_STEP = 1e-7
"""Just below a 24-bit step, 1.2e-7; what is finer counts as no rounding."""


def quantisation_step(samples: Float) -> float:
    """Return the smallest step between sample values, 0 for samples without one.

    Parameters
    ----------
    samples : ndarray, shape (n,)

    Returns
    -------
    float
    """
    values = np.unique(samples[:: max(1, samples.size // N_LOOKED_AT)])
    steps = np.diff(values)
    return float(steps.min()) if steps.size and steps.min() > SMALLEST_STEP else 0.0
