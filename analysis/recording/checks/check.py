"""Can the reading be trusted? The named checks and their outcome.

Conventions: `pass` says that nothing was found, `warn` that the numbers stand but the
cause should go, `fail` that a number is wrong and withheld, or too uncertain to act on. A
clean recording passes all of them. Every threshold is a constant with its reason, beside
the check that uses it: `analysis.recording.checks.clipping`, `analysis.recording.checks.hum`,
`analysis.recording.signal_to_noise`, `analysis.recording.checks.automatic_gain`,
`analysis.recording.checks.passes`, `analysis.recording.checks.microphone`,
`analysis.recording.checks.channels`, `analysis.recording.checks.loop_back`,
`analysis.recording.checks.recording` and
`analysis.pair.sameness`.
"""

from __future__ import annotations

from dataclasses import dataclass

NAMES = (
    "clipping",
    "too_quiet",
    "noise",
    "hum",
    "dropout",
    "silent_channel",
    "channel",
    "loop_back",
    "same_sound",
    "spoilt_pass",
    "clock",
    "microphone",
    "wrong_sweep",
    "cut_short",
    "resampled",
    "distortion",
    "automatic_gain",
    "geometry",
)
"""Every check's name, in the order in which `analysis.reading` makes and a person reads them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Check:
    """One check's outcome.

    Attributes
    ----------
    verdict : str
        "pass", "warn" or "fail".
    detail : str
        What was seen, and what to do about it.
    """

    name: str
    verdict: str
    detail: str
