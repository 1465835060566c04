"""The sweep programme as samples.

Conventions: axes (channel, time); channel 1 is the left loudspeaker.
"""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

from analysis.programme import Programme
from analysis.sweep import sweep_samples

Float = NDArray[np.float64]

FULL_SCALE_24 = 2**23


def programme_samples(programme: Programme) -> Float:
    """Return the programme's stereo samples, rounded to 24 bits.

    Parameters
    ----------
    programme : Programme

    Returns
    -------
    ndarray, shape (2, n)

    Notes
    -----
    Rounding without dither: its error is 120 dB below the sweep, and the same samples
    come out on every machine, so that a checksum can tell them.
    """
    rate_hz = programme.sample_rate_hz
    samples = np.zeros((2, round(programme.duration_s * rate_hz)))
    one_pass = sweep_samples(programme.sweep, sample_rate_hz=rate_hz)
    for side, start_s in zip(programme.order, programme.starts_s, strict=True):
        first = round(start_s * rate_hz)
        samples["LR".index(side), first : first + one_pass.size] = one_pass
    return np.asarray(np.round(samples * FULL_SCALE_24) / FULL_SCALE_24)


def checksum(samples: Float) -> str:
    """Return the SHA-256 of samples as 24-bit integers, whatever file they came from.

    Parameters
    ----------
    samples : ndarray, shape (2, n)

    Returns
    -------
    str
        Hexadecimal.
    """
    return hashlib.sha256(np.round(samples * FULL_SCALE_24).astype("<i4").tobytes()).hexdigest()
