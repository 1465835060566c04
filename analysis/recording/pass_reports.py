"""What was used of each pass, and what was left out.

Conventions: passes are numbered from 1; times are seconds of the recording, or of a pass's
sweep where that is said.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.recording.alignment import Aligned
from analysis.signals.deconvolution import LEAD_S
from analysis.signals.programme import Programme


@dataclass(frozen=True, kw_only=True, slots=True)
class PassReport:
    """One pass of the programme in the recording.

    Attributes
    ----------
    number : int
        From 1.
    side : str
        "left" or "right".
    start_s : float
        Where it lies in the recording, in seconds.
    found : bool
        Heard by itself; otherwise placed by the others.
    left_out : tuple of str
        What of it was left out, and why.
    """

    number: int
    side: str
    start_s: float
    found: bool
    left_out: tuple[str, ...]


def pass_reports(aligned: Aligned, programme: Programme) -> tuple[PassReport, ...]:
    """Say what was used of each pass.

    Parameters
    ----------
    aligned : Aligned
    programme : Programme

    Returns
    -------
    tuple of PassReport
    """
    reports = []
    for at, used in enumerate(aligned.passes):
        left_out = [
            f"foreign sound at {begin:.2f}-{end:.2f} s of its sweep"
            for begin, end in aligned.harm.foreign_s[at]
        ]
        left_out += [
            f"{block.n_samples} samples {block.kind} at {block.at / programme.sample_rate_hz:.3f} s"
            for block in aligned.blocks
            if used.first <= block.at < used.first + used.samples.size
        ]
        if used.present.start > LEAD_S * programme.sample_rate_hz:
            left_out.append("its beginning wasn't recorded")
        if used.present.stop < round(
            (LEAD_S + programme.sweep.duration_s) * programme.sample_rate_hz
        ):
            left_out.append("its end wasn't recorded")
        elif used.present.stop < used.samples.size:
            left_out.append("the end of its decay wasn't recorded")
        reports.append(
            PassReport(
                number=used.index + 1,
                side="left" if used.side == "L" else "right",
                start_s=used.first / programme.sample_rate_hz + LEAD_S,
                found=used.found,
                left_out=tuple(left_out),
            )
        )
    return tuple(reports)
