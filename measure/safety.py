"""Limits on what is made to be played, and the cautions that go with it.

The figures are this project's own choice; no standard for tweeters was found. A peak of
-20 dBFS carries a hundredth of a full-scale sine's power, whatever the volume control
then takes away, and the sweep's length still gives a clean response.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from measure.errors import UnsafeError

SAFE_LEVEL_DBFS = -20.0
"""Highest peak without a flag."""

TOP_TAPER_DB = 6.0
"""How much quieter the top octave ends than it starts."""


CAP_DBFS = -12.0
"""No sample that this program plays by itself lies above, whatever is asked for."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SafeSignal:
    """Output that may reach a device; one that breaks a rule can't be made.

    Attributes
    ----------
    samples : ndarray of float32, shape (2, n)
        Left and right, full scale 1.
    sample_rate_hz : int
    """

    samples: NDArray[np.float32]
    sample_rate_hz: int

    def __post_init__(self) -> None:
        samples = np.array(self.samples, dtype=np.float32)
        if samples.ndim != 2 or samples.shape[0] != 2:
            msg = f"samples of shape {samples.shape} must be (2, n)"
            raise ValueError(msg)
        if not np.isfinite(samples).all() or np.abs(samples).max(initial=0) > 10 ** (CAP_DBFS / 20):
            msg = f"the output lies above the cap of {CAP_DBFS:g} dBFS, or isn't finite"
            raise UnsafeError(msg)
        samples.flags.writeable = False
        object.__setattr__(self, "samples", samples)


def check_level(level_dbfs: float, *, louder: bool) -> None:
    """Refuse a level above the safe one, unless the person asked for it by its flag.

    Parameters
    ----------
    level_dbfs : float
        Peak level, in dB re full scale.
    louder : bool
        Whether the flag was given.

    Raises
    ------
    UnsafeError
        If the level is above full scale, or above the safe level without the flag.
    """
    if not level_dbfs <= 0:
        msg = f"a level of {level_dbfs:g} dBFS lies above full scale: give 0 or less"
        raise UnsafeError(msg)
    if level_dbfs > SAFE_LEVEL_DBFS and not louder:
        msg = (
            f"a peak of {level_dbfs:g} dBFS can hurt ears and tweeters: use "
            f"{SAFE_LEVEL_DBFS:g} or less, or add --louder-than-safe if you know that the "
            "volume is low and the tweeters can take it"
        )
        raise UnsafeError(msg)


def cautions() -> str:
    """Return the cautions for a person about to play a sweep."""
    return resources.files("measure").joinpath("data/cautions.txt").read_text(encoding="utf-8")
