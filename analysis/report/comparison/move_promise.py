"""A move's promise and its result, in words."""

from __future__ import annotations

from analysis.comparison.move_promise import Judgement, MoveAnswer, Promise
from analysis.report import format as fmt


def promise_text(promised: Promise | None) -> str:
    """Return what a move should bring."""
    if promised is None:
        return "Nothing is promised: the take before it has no arrival."
    size = fmt.mm(promised.difference_m, promised.std_m, sign=True)
    return f"Promised: left minus right of {size}."


def judgement_text(found: Judgement) -> str:
    """Return whether it did."""
    if found.found_m is None or found.off_m is None:
        return "Found: the take after it has no arrival, so nothing can be said."
    size = fmt.mm(found.found_m, found.off_std_m, sign=True)
    if found.kept:
        return f"Found: {size}. The promise was kept within the uncertainty."
    off = fmt.mm(found.off_m, found.off_std_m, sign=True)
    return (
        f"Found: {size}, {off} from the promise, which is more than the uncertainty: was the "
        "other loudspeaker moved too, the microphone, or the length misread?"
    )


def answer_text(answer: MoveAnswer) -> str:
    """Return what became of a move that was given its result."""
    if answer.problem is not None:
        return f"No move was given this take as its result: {answer.problem}"
    found = answer.judgement
    text = "nothing was promised." if found is None else judgement_text(found)
    return f"The move {answer.move} has its result: {text}"
