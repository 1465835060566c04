"""What can be planted to go wrong in the simulated room.

Conventions: times are seconds of the recording, from the start of a run. Faults are for
learning what each looks like and for testing that it is noticed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal, get_args

FaultKind = Literal[
    "lost", "zeroed", "undelivered", "xrun", "stall", "gain", "silence", "swapped", "burst"
]

KINDS: Final[tuple[FaultKind, ...]] = get_args(FaultKind)


@dataclass(frozen=True, kw_only=True, slots=True)
class Fault:
    """One thing that goes wrong.

    Attributes
    ----------
    kind : str
        ``lost``: input vanishes, and what follows comes earlier, unreported.
        ``zeroed``: all inputs are digital silence.
        ``undelivered``: the device delivers nothing for that time.
        ``xrun``: the driver reports gaps, whether or not there are any.
        ``stall``: the device delivers nothing more from there on, and is lost.
        ``gain``: the microphone's gain changes, up to clipping.
        ``silence``: the microphone is muted.
        ``swapped``: left and right are exchanged at the loudspeakers.
        ``burst``: a noise in the room, such as a cough.
    at_s : float
    duration_s : float
        Infinite for "until the end".
    amount_db : float
        The change of gain, or the RMS of the burst at the input, re full scale.
    n_reports : int
        How many gaps the driver reports, evenly over the duration.
    in_run : int or None
        Only in this run of the room, counted from 1; None for every run.
    """

    kind: FaultKind
    at_s: float = 0.0
    duration_s: float = math.inf
    amount_db: float = 0.0
    n_reports: int = 1
    in_run: int | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            msg = f"kind {self.kind!r} must be one of {', '.join(KINDS)}"
            raise ValueError(msg)
        if not (self.at_s >= 0 and self.duration_s > 0 and math.isfinite(self.amount_db)):
            msg = f"at_s {self.at_s} must be 0 or more, duration_s {self.duration_s} above 0 and "
            msg += f"amount_db {self.amount_db} finite"
            raise ValueError(msg)
        if self.kind == "xrun" and not (self.n_reports > 0 and math.isfinite(self.at_s)):
            msg = f"n_reports {self.n_reports} must be 1 or more, at a finite time"
            raise ValueError(msg)


@dataclass(frozen=True, kw_only=True, slots=True)
class PlantedFaults:
    """The faults of one run, by frames.

    Attributes
    ----------
    faults : tuple of Fault
    sample_rate_hz : int
    """

    faults: tuple[Fault, ...]
    sample_rate_hz: int

    def within(self, kind: FaultKind, first: int, n_frames: int) -> Iterator[tuple[Fault, slice]]:
        """Yield the faults of a kind, and where they meet the frames from `first` on."""
        for fault in self.faults:
            if fault.kind != kind:
                continue
            begin = fault.at_s * self.sample_rate_hz
            end = begin + fault.duration_s * self.sample_rate_hz
            here = slice(
                round(min(max(begin - first, 0), n_frames)),
                round(min(max(end - first, 0), n_frames)),
            )
            if here.start < here.stop:
                yield fault, here

    def n_reported(self, first: int, n_frames: int) -> int:
        """Return how many gaps the driver reports within frames."""
        n_reported = 0
        for fault in self.faults:
            if fault.kind == "xrun":
                over_s = fault.duration_s if math.isfinite(fault.duration_s) else 0.0
                for number in range(fault.n_reports):
                    at_s = fault.at_s + over_s * number / fault.n_reports
                    n_reported += first <= round(at_s * self.sample_rate_hz) < first + n_frames
        return n_reported
