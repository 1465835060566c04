"""A block of samples that a recorder lost, repeated or zeroed, and how the recording is repaired.

Conventions: positions are sample indices of the recording.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.basics.arrays import Float


@dataclass(frozen=True, kw_only=True, slots=True)
class DropoutBlock:
    """A block lost from, repeated in, or zeroed in the recording.

    Attributes
    ----------
    at : int
        Sample index at which it begins.
    n_samples : int
        How many samples.
    kind : str
        "missing", "repeated" or "zeroed".
    doubtful : str or None
        "before" or "after" if too little of the pass lies there to tell to a sample how
        many were lost: that part of the pass can't be put back in its place.
    """

    at: int
    n_samples: int
    kind: str
    doubtful: str | None = None


def repair_block(samples: Float, block: DropoutBlock) -> Float:
    """Return the recording with a lost block as zeros, or a repeated one taken out."""
    if block.kind == "missing":
        return np.insert(samples, block.at, np.zeros(block.n_samples))
    return np.delete(samples, slice(block.at, block.at + block.n_samples))
