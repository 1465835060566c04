"""The programme: which loudspeaker is swept when.

Conventions: side ``"L"`` is channel 1 of the file, ``"R"`` channel 2; times are
seconds of the player's clock from the first sample of the file.

The order L R R L gives both sides the same mean time, so a constant clock
difference cancels in left minus right. Every second pause is longer by
``MIDDLE_PAUSE_S``, which tells a recording that lost its first pass from one that
lost its last.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.signals.sweep import Sweep

MIDDLE_PAUSE_S = 0.509
"""Not a whole number of mains periods: with the default times hum at 50 and 60 Hz comes in
nearly opposite phase in the two passes of a side, so it cancels in their mean and shows in
their difference."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Programme:
    """A stereo file of sweeps.

    Attributes
    ----------
    order : str
        One letter a pass, ``L`` or ``R``.
    lead_in_s : float
        Silence before the first pass.
    tail_s : float
        Silence after each pass, for the room's decay.
    """

    sweep: Sweep
    order: str
    sample_rate_hz: int
    lead_in_s: float
    tail_s: float

    def __post_init__(self) -> None:
        if not self.order or set(self.order) - {"L", "R"}:
            msg = f"order {self.order!r} must be made of the letters L and R"
            raise ValueError(msg)
        if not (self.lead_in_s >= 0 and self.tail_s >= 0):
            msg = f"lead-in {self.lead_in_s} s and tail {self.tail_s} s must not be negative"
            raise ValueError(msg)

    @property
    def starts_s(self) -> tuple[float, ...]:
        """When each pass starts, in player seconds from the first sample, on whole samples."""
        starts = []
        at_s = self.lead_in_s
        for index in range(len(self.order)):
            starts.append(round(at_s * self.sample_rate_hz) / self.sample_rate_hz)
            at_s += self.sweep.duration_s + self.tail_s
            if index % 2 == 1:
                at_s += MIDDLE_PAUSE_S
        return tuple(starts)

    @property
    def duration_s(self) -> float:
        """Length of the file, in seconds."""
        return self.starts_s[-1] + self.sweep.duration_s + self.tail_s
