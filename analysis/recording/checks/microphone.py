"""Check of the microphone: whether it stayed where it was from pass to pass.

Conventions: passes are numbered from 1.
"""

from __future__ import annotations

from analysis.recording.alignment import AlignedPasses
from analysis.recording.checks.check import Check
from analysis.recording.repeats.judgement import LEAST_MOVE_M, MOST_OFF_M


def check_microphone(aligned: AlignedPasses) -> Check:
    """Judge whether the microphone moved between passes of one loudspeaker."""
    repeats = aligned.repeats
    if repeats.kind == "unknown":
        detail = "no two clean passes of one loudspeaker to tell whether it moved"
        return Check(name="microphone", verdict="pass", detail=detail)
    if repeats.kind == "moved":
        return _explain_move(aligned)
    if repeats.hidden_m > MOST_OFF_M:
        detail = f"noise would hide a move of up to about {repeats.hidden_m * 1e3:.0f} mm"
        return Check(name="microphone", verdict="pass", detail=detail)
    still_mm = max(repeats.hidden_m, LEAST_MOVE_M) * 1e3
    detail = f"it stayed where it was, to within about {still_mm:.1f} mm"
    return Check(name="microphone", verdict="pass", detail=detail)


def _explain_move(aligned: AlignedPasses) -> Check:
    """Say between which passes it moved, how far, and what follows."""
    repeats = aligned.repeats
    between = ", ".join(
        f"{aligned.passes[first].index + 1} and {aligned.passes[second].index + 1}"
        for first, second in repeats.moved_passes
    )
    text = (
        f"it moved by about {_rough_mm(repeats.moved_m)} mm between passes {between}, or a "
        "loudspeaker or a person did"
    )
    if repeats.is_too_uncertain:
        detail = f"{text}: the arrival is withheld; fix it, leave the room, and record again"
        return Check(name="microphone", verdict="fail", detail=detail)
    detail = f"{text}: the arrival carries it; fix it before the next recording"
    return Check(name="microphone", verdict="warn", detail=detail)


def _rough_mm(distance_m: float) -> str:
    """Return a distance that is known to a factor of two, in millimetres."""
    return f"{distance_m * 1e3:.1f}" if distance_m < 2e-3 else f"{distance_m * 1e3:.0f}"
