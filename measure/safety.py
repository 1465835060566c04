"""Limits on what is made to be played, and the cautions that go with it.

The figures are this project's own choice; no standard for tweeters was found. A peak of
-20 dBFS carries a hundredth of a full-scale sine's power, whatever the volume control
then takes away, and the sweep's length still gives a clean response.
"""

from __future__ import annotations

from importlib import resources

from measure.errors import UnsafeError

SAFE_LEVEL_DBFS = -20.0
"""Highest peak without a flag."""

TOP_TAPER_DB = 6.0
"""How much quieter the top octave ends than it starts."""


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
