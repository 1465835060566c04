"""What a sweep programme is made of, for every command that makes one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from analysis.signals.programme import Programme

TAIL_S: Final = 1.5
"""Silence after a pass, unless told otherwise."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgrammeOptions:
    """What the options said of the sweep and its passes; `stop_hz` None as high as the rate lets.

    Attributes
    ----------
    start_hz : float
    stop_hz : float or None
    duration_s : float
        Of a pass.
    order : str
        Which loudspeaker plays each pass.
    """

    start_hz: float = 15.0
    stop_hz: float | None = None
    duration_s: float = 6.0
    order: str = "LRRL"


def asked_programme(
    options: ProgrammeOptions, *, level_dbfs: float, rate_hz: int, tail_s: float = TAIL_S
) -> Programme:
    """Return the programme that the options describe.

    Raises
    ------
    MeasureError
        If there is no such programme.
    """
    from measure.sound.stimulus import default_stop_hz, make_programme

    stop_hz = options.stop_hz
    return make_programme(
        start_hz=options.start_hz,
        stop_hz=default_stop_hz(rate_hz) if stop_hz is None else stop_hz,
        duration_s=options.duration_s,
        level_dbfs=level_dbfs,
        rate_hz=rate_hz,
        order=options.order.upper(),
        tail_s=tail_s,
    )
