"""Arrays inside frozen records: copied, checked for shape, and set read-only."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]
Mask = NDArray[np.bool_]


def freeze(values: ArrayLike, *, name: str, ndim: int = 1) -> Float:
    """Return a read-only float copy of `values`.

    Parameters
    ----------
    values : array_like
        Numbers with `ndim` axes.
    name : str
        What they are called in the error.
    ndim : int
        The number of axes asked for.

    Returns
    -------
    ndarray of float64
        A copy that cannot be written to.

    Raises
    ------
    ValueError
        If the number of axes differs, or a value isn't finite.
    """
    array = np.array(values, dtype=np.float64)
    if array.ndim != ndim:
        msg = f"{name} must have {ndim} axes, not {array.ndim}"
        raise ValueError(msg)
    if not np.all(np.isfinite(array)):
        msg = f"{name} holds values that are not finite"
        raise ValueError(msg)
    array.flags.writeable = False
    return array
