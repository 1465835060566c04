"""What happened while a take was made, in words: what its reading doesn't tell."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.pair.wired_reference import AbsoluteDistances
from analysis.report import format as fmt
from analysis.report.sound_level import exposure_line
from analysis.signals.sound_level import Exposure


def arrival_cell(arrival_mm: float | None, std_mm: float | None, *, is_read: bool) -> str:
    """Return left minus right as a cell of a list of takes.

    Parameters
    ----------
    arrival_mm, std_mm : float or None
        The difference and one sigma; None where they are withheld.
    is_read : bool
        Whether the take has a reading.
    """
    if arrival_mm is None:
        return "withheld" if is_read else "no reading"
    return fmt.mm(arrival_mm * 1e-3, None if std_mm is None else std_mm * 1e-3, sign=True)


def take_lines(
    *,
    distances: AbsoluteDistances | None,
    repeated: Sequence[int],
    not_repeated: Sequence[int],
    n_xruns: int,
    exposure: Exposure | None,
) -> list[str]:
    """Return one line for each thing, not wrapped.

    Parameters
    ----------
    distances : AbsoluteDistances or None
        Where an input was wired to the output.
    repeated, not_repeated : sequence of int
        Passes that were spoilt, from 1: those played again, and those left.
    n_xruns : int
        Gaps that the driver reported.
    exposure : Exposure or None
        Where it is known what full scale means in the room.
    """
    lines = []
    if distances is not None:
        lines.append(
            f"Distances to the microphone: left {distances.left_m:.3f} m, right "
            f"{distances.right_m:.3f} m, both ± {distances.std_m:.3f} m; their difference as the "
            "verdict says."
        )
    if repeated:
        lines.append(
            f"{_passes(repeated)} spoilt and played again at the end; all are in the recording."
        )
    if not_repeated:
        lines.append(f"{_passes(not_repeated)} spoilt too, and not played again.")
    if n_xruns:
        lines.append(
            f"The driver reported {n_xruns} gap(s) in the sound; a check named dropout above says "
            "so if they did harm, else they did none."
        )
    return [*lines, exposure_line(exposure)]


def _passes(numbers: Sequence[int]) -> str:
    """Return the passes with their verb."""
    if len(numbers) == 1:
        return f"Pass {numbers[0]} was"
    return f"Passes {', '.join(map(str, numbers[:-1]))} and {numbers[-1]} were"
