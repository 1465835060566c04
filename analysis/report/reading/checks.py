"""The checks in words: what failed, what warns, and what to do about it."""

from __future__ import annotations

from analysis.recording.checks.check import Check
from analysis.report.reading.verdict_part import VerdictPart


def say_failed(checks: tuple[Check, ...]) -> VerdictPart:
    """Return the failed checks, each with what to do."""
    failed = [check for check in checks if check.verdict == "fail"]
    if not failed:
        return VerdictPart()
    names = ", ".join(check.name.replace("_", " ") for check in failed)
    return VerdictPart(
        action=f"Mend this first and record again: {names}.",
        findings=tuple(f"Failed, {_named(check)}." for check in failed),
    )


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
