"""What each part of a reading adds to the verdict, and the caution that goes with moves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LIFTING: Final = (
    "Get help to lift or tilt a loudspeaker, and mind its spikes and stand: hold the top, "
    "keep feet and fingers clear."
)
"""Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class VerdictPart:
    """What one part of a reading adds to the verdict.

    Attributes
    ----------
    action : str or None
        What to do about it, if anything.
    caution : str or None
        What to mind in doing it.
    """

    action: str | None = None
    findings: tuple[str, ...] = ()
    caution: str | None = None
