"""The checks in words: what failed, what warns, and what to do about it."""

from __future__ import annotations

from typing import Final

from analysis.pair.sameness import CHECK as SAME_SOUND
from analysis.recording.checks.check import Check
from analysis.report.reading.verdict_part import VerdictPart

_TWO_PLACES: Final = "Did left and right come from two places?"

_QUESTIONS: Final = {
    "channel": "Which channel is the microphone at the seat? Read again with --channel and its "
    "number: it matters here.",
    SAME_SOUND: f"{_TWO_PLACES} If from one, the player is set to mono or one loudspeaker is wired "
    "to both channels: mend that and record again. If from two, they are alike and equally far as "
    "near as this recording tells.",
}
"""Failed check to the question that it leaves."""


def say_failed(checks: tuple[Check, ...]) -> VerdictPart:
    """Return the failed checks, each with what to do."""
    failed = [check for check in checks if check.verdict == "fail" and check.name not in _QUESTIONS]
    if not failed:
        return VerdictPart()
    names = ", ".join(check.name.replace("_", " ") for check in failed)
    return VerdictPart(
        action=f"Mend this first and record again: {names}.",
        findings=tuple(f"Failed, {_named(check)}." for check in failed),
    )


def say_asked(checks: tuple[Check, ...]) -> VerdictPart:
    """Return what only the person can answer, and no new recording mends by itself."""
    asked = [check for check in checks if check.verdict == "fail" and check.name in _QUESTIONS]
    if not asked:
        return VerdictPart()
    return VerdictPart(
        action=" ".join(_QUESTIONS[check.name] for check in asked),
        findings=tuple(f"Asked, {_named(check)}." for check in asked),
    )


def say_nothing_to_do(checks: tuple[Check, ...]) -> str:
    """Return what to say where nothing has to be done, with the question if it is open."""
    if any(check.name == SAME_SOUND and check.verdict == "warn" for check in checks):
        return (
            f"{_TWO_PLACES} Noise hides whether they are two sounds. If they did, there is nothing "
            "to do: the pair matches within what this recording can tell."
        )
    return "Nothing to do: the pair matches within what this recording can tell."


def say_geometry(checks: tuple[Check, ...]) -> str | None:
    """Return what to do before any move where sound and tape disagree."""
    if all(check.verdict == "pass" for check in checks if check.name == "geometry"):
        return None
    return (
        "Before any move, correct the room file: sound and tape disagree. If a loudspeaker was "
        "moved since, write its new place there; if not, make sure that left and right aren't "
        "exchanged."
    )


def say_warnings(checks: tuple[Check, ...]) -> tuple[str, ...]:
    """Return the checks that warn, each with its sentence."""
    return tuple(f"Warning, {_named(check)}." for check in checks if check.verdict == "warn")


def _named(check: Check) -> str:
    """Return a check's name and sentence without its last full stop."""
    return f"{check.name.replace('_', ' ')}: {check.detail.rstrip('.')}"


def failed_because(checks: tuple[Check, ...]) -> str | None:
    """Return which failed checks withhold a number."""
    failed = [check.name.replace("_", " ") for check in checks if check.verdict == "fail"]
    return f"spoilt by {', '.join(failed)}" if failed else None
