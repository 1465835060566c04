"""Moves that wait for their result: the next take or survey of the pair fills it in.

Conventions: a move is open while it has neither a take nor a survey after it. What comes next
answers the newest open move of its pair; one that was never made stays open.
"""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from analysis.comparison.move_promise import Judgement, MoveAnswer, Promise, judge_promise
from measure.errors import MeasureError
from measure.logbook.entries.entries import MoveEntry
from measure.logbook.entries.pair_place import survey_path
from measure.logbook.entries.store import change_entry, read_entries
from measure.logbook.folder import Logbook, is_logbook, open_logbook
from measure.logbook.remarks import take_path
from measure.logbook.selection import plain_text
from measure.logbook.take_index import read_line
from measure.survey.evaluation import evaluate_file

if TYPE_CHECKING:
    from analysis.survey.result import SurveyResult


def distance_m(result: SurveyResult) -> tuple[float, float] | None:
    """Return left minus right of the distances to the head and its sigma, if a survey tells."""
    value, std = result.triangle.distance_m.left_minus_right.value_and_std
    return None if math.isinf(std) else (value, std)


def answer_move_in(folder: Path, name: str) -> MoveAnswer | None:
    """Answer a move by a take in a folder, if that is a logbook's; return what became of it.

    Nothing that goes wrong here harms the take: it is said and nothing else.
    """
    if not any(is_logbook(place) for place in (folder.absolute(), *folder.absolute().parents)):
        return None
    try:
        logbook = open_logbook(folder)
        move = answer_by_take(logbook, name)
        return None if move is None else judged_answer(logbook, move)
    except MeasureError as problem:
        return MoveAnswer(problem=str(problem))


def judged_answer(logbook: Logbook, move: MoveEntry) -> MoveAnswer:
    """Return what became of a move that has its result."""
    return MoveAnswer(move=move.name, judgement=judge_move(logbook, move))


def answer_by_take(logbook: Logbook, name: str) -> MoveEntry | None:
    """Give the newest open move of a take's pair that take as its result.

    Parameters
    ----------
    logbook : Logbook
    name : str
        Of a take; without an arrival it answers nothing.

    Returns
    -------
    MoveEntry or None
        The move as it stands now.
    """
    line = read_line(take_path(logbook, name))
    move = _newest_open(logbook, line.pair)
    if move is None or line.arrival_mm is None or line.started <= _begin_time(logbook, move):
        return None
    move = replace(move, after=line.name)
    change_entry(logbook, move)
    return move


def _begin_time(logbook: Logbook, move: MoveEntry) -> datetime:
    """Return when the take before a move was made, or the move was asked for."""
    if move.before is None:
        return move.written
    return read_line(take_path(logbook, move.before)).started


def answer_by_survey(logbook: Logbook, name: str, pair: str | None) -> MoveEntry | None:
    """Give the newest open move of a pair a survey as its result."""
    move = _newest_open(logbook, pair)
    if move is None or move.survey == name:
        return None
    move = replace(move, after_survey=name)
    change_entry(logbook, move)
    return move


def _newest_open(logbook: Logbook, pair: str | None) -> MoveEntry | None:
    """Return the open move of a pair that was written last."""
    moves = [
        one
        for one in read_entries(logbook, MoveEntry)[0]
        if one.after is None and one.after_survey is None and same_pair(logbook, one, pair)
    ]
    return max(moves, key=lambda one: one.written, default=None)


def same_pair(logbook: Logbook, move: MoveEntry, pair: str | None) -> bool:
    """Return whether a move is one of a pair; where neither says which, it is taken so."""
    own = move.pair
    if own is None and move.before is not None:
        try:
            own = read_line(take_path(logbook, move.before)).pair
        except MeasureError:
            return False
    return plain_text(own or "") == plain_text(pair or "")


def judge_move(logbook: Logbook, move: MoveEntry) -> Judgement | None:
    """Return a move's result held against its promise; None where one of them is missing.

    Raises
    ------
    LogbookError
        If the take after it isn't there.
    """
    if move.expected_m is None or (move.after is None and move.after_survey is None):
        return None
    promised = Promise(difference_m=move.expected_m, std_m=move.expected_std_m or 0.0)
    if move.after is not None:
        line = read_line(take_path(logbook, move.after))
        found = line.arrival_mm, line.arrival_std_mm
        return judge_promise(promised, *(None if one is None else one * 1e-3 for one in found))
    from measure.survey.file import read_survey

    path = survey_path(logbook, move.after_survey or "")
    known = distance_m(evaluate_file(read_survey(path)))
    return judge_promise(promised, *(known or (None, None)))
