r"""Local maxima of a sampled curve, and how far each stands out of it.

Conventions: a maximum is a sample, or the middle of a run of equal ones (the left of two middles),
that both neighbours stay below; the first and the last sample are none. *Prominence* is the
height over the higher of the two lowest points between the maximum and the nearest higher
sample (or the end) on either side; these lowest points are its *bases*.

`scipy.signal` has the same (the tests hold this against it), but its import alone costs as much
time as the whole analysis of a recording.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Float

Indices = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LocalMaxima:
    """Local maxima in the order of their samples.

    Attributes
    ----------
    indices : ndarray of int, shape (n_maxima,)
    prominences : ndarray, shape (n_maxima,)
        In the unit of the curve.
    left_bases, right_bases : ndarray of int, shape (n_maxima,)
        The lowest sample on either side, the nearest of equal ones.
    """

    indices: Indices
    prominences: Float
    left_bases: Indices
    right_bases: Indices


def find_local_maxima(curve: Float, *, prominence: float) -> LocalMaxima:
    """Return the local maxima that stand out of a curve.

    Parameters
    ----------
    curve : ndarray, shape (n,)
    prominence : float
        The least, in the unit of the curve.

    Examples
    --------
    A hill of 3 beside one of 5, and the shallow valley of 2 between them:

    >>> found = find_local_maxima(np.array([0.0, 3.0, 2.0, 5.0, 1.0]), prominence=0.5)
    >>> found.indices.tolist(), found.prominences.tolist()
    ([1, 3], [1.0, 4.0])
    """
    indices = _middles_of_maxima(curve)
    bases = [_bases(curve, int(index)) for index in indices]
    left = np.array([pair[0] for pair in bases], dtype=np.intp)
    right = np.array([pair[1] for pair in bases], dtype=np.intp)
    height = np.asarray(curve[indices] - np.maximum(curve[left], curve[right]), dtype=np.float64)
    kept = height >= prominence
    return LocalMaxima(
        indices=indices[kept],
        prominences=height[kept],
        left_bases=left[kept],
        right_bases=right[kept],
    )


def _middles_of_maxima(curve: Float) -> Indices:
    """Return the middle of each run of equal samples that both neighbours stay below."""
    starts = np.flatnonzero(np.r_[True, curve[1:] != curve[:-1]][: curve.size])
    ends = np.r_[starts[1:], curve.size] - 1
    level = curve[starts]
    inner = np.zeros(starts.size, dtype=np.bool_)
    inner[1:-1] = (level[1:-1] > level[:-2]) & (level[1:-1] > level[2:])
    return np.asarray((starts[inner] + ends[inner]) // 2, dtype=np.intp)


def _bases(curve: Float, index: int) -> tuple[int, int]:
    """Return the lowest samples left and right of a maximum, up to where the curve is higher."""
    higher = np.flatnonzero(curve[:index] > curve[index])
    first = int(higher[-1]) + 1 if higher.size else 0
    higher = np.flatnonzero(curve[index:] > curve[index])
    stop = index + int(higher[0]) if higher.size else curve.size
    left = index - int(np.argmin(curve[first : index + 1][::-1]))
    return left, index + int(np.argmin(curve[index:stop]))
