"""What a command says of a move that has its result, and of the moves that a survey asks for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.survey.result import SurveyResult
    from measure.logbook.entries.entries import MoveEntry
    from measure.logbook.folder import Logbook
    from measure.survey.file import SurveyFile


def answer_in(folder: Path, name: str) -> str | None:
    """Answer a move by a take in a folder, if that is a logbook's; return what there is to say.

    Nothing that goes wrong here harms the take: it is said and nothing else.
    """
    from measure.errors import MeasureError
    from measure.logbook.entries.moves import answer_by_take
    from measure.logbook.folder import is_logbook, open_logbook

    if not any(is_logbook(place) for place in (folder.absolute(), *folder.absolute().parents)):
        return None
    try:
        logbook = open_logbook(folder)
        move = answer_by_take(logbook, name)
        return None if move is None else answer_text(logbook, move)
    except MeasureError as problem:
        return f"No move was given this take as its result: {problem}"


def answer_text(logbook: Logbook, move: MoveEntry) -> str:
    """Return what became of a move."""
    from analysis.report.comparison.move_promise import judgement_text
    from measure.logbook.entries.moves import judged

    found = judged(logbook, move)
    text = "nothing was promised." if found is None else judgement_text(found)
    return f"The move {move.name} has its result: {text}"


def step_texts(file: SurveyFile, result: SurveyResult) -> tuple[str, ...]:
    """Return the moves that a survey asks for, in words and in order."""
    from analysis.report.survey.verdict import move_text
    from measure.survey.lengths import say_length

    def length(value_m: float) -> str:
        return say_length(value_m, unit=file.unit)

    return tuple(move_text(one, result, length=length) for one in result.plan.moves)
