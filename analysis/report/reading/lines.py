"""All that is said of a reading: the verdict, then what it rests on."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.reading import Reading
from analysis.report.reading.details import detail_sections
from analysis.report.reading.verdict import TOLERANCE_M, verdict


def reading_lines(
    reading: Reading,
    *,
    source: Sequence[str] = (),
    microphone: Sequence[str] = (),
    half_angle_deg: float | None = None,
    tolerance_m: float = TOLERANCE_M,
    scores: bool = False,
    brief: bool = False,
) -> list[str]:
    """Return the verdict on a reading, and under headings what it rests on.

    Parameters
    ----------
    source : sequence of str
        Which recording was read.
    microphone : sequence of str
        What was done about the microphone's own response.
    half_angle_deg : float or None
        Half the angle between the loudspeakers at the seat, where no room tells it.
    tolerance_m : float
        Difference of arrival that counts as equal.
    scores : bool
        Show what each cause's score is made of.
    brief : bool
        The verdict alone.
    """
    said = verdict(reading, half_angle_deg=half_angle_deg, tolerance_m=tolerance_m).lines()
    if brief:
        return said
    sections = detail_sections(
        reading, half_angle_deg=half_angle_deg, microphone=list(microphone), scores=scores
    )
    for heading, lines in [("Recording", list(source)), *sections]:
        said += ["", heading, *(f"  {line}" for line in lines)]
    return said
