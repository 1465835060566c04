"""The history of one pair in a logbook: its takes, and the moves between them."""

from __future__ import annotations

from collections.abc import Collection

from analysis.comparison.history import HistoryMove, HistoryTake
from analysis.comparison.move_promise import Promise
from measure.errors import LogbookError, MeasureError
from measure.files.readings.document import load_document
from measure.logbook.entries.entries import MoveEntry
from measure.logbook.entries.moves import judge_move, same_pair
from measure.logbook.entries.store import read_entries
from measure.logbook.folder import Logbook
from measure.logbook.selection import Selection, select_takes
from measure.logbook.take_index import TakeLine, list_takes
from measure.takes.names import READING


def pair_history(logbook: Logbook, pair: str) -> list[HistoryTake]:
    """Return every take of a pair in its order.

    Raises
    ------
    LogbookError
        If the logbook has no take of the pair with an arrival.
    """
    lines = select_takes(list_takes(logbook).takes, Selection(pair=pair))
    if not any(one.arrival_mm is not None for one in lines):
        msg = f"there is no take of the pair {pair} with an arrival in {logbook.path}"
        raise LogbookError(msg)
    return [_history_take(logbook, one) for one in lines]


def _history_take(logbook: Logbook, line: TakeLine) -> HistoryTake:
    """Return a take's place in the history."""
    path = logbook.takes / line.folder / READING
    balance = load_document(path)["bass"]["both"]["balance"] if path.is_file() else []
    return HistoryTake(
        name=line.name,
        started=line.started,
        place=line.place,
        arrival_m=None if line.arrival_mm is None else line.arrival_mm * 1e-3,
        arrival_std_m=None if line.arrival_std_mm is None else line.arrival_std_mm * 1e-3,
        balance_db=tuple(
            (f"{band['band_hz'][0]:.0f} to {band['band_hz'][1]:.0f} Hz", band["level_db"])
            for band in balance
        ),
    )


def pair_moves(logbook: Logbook, takes: Collection[str], pair: str) -> list[HistoryMove]:
    """Return the moves of a pair, or after one of its takes, in the order of their writing."""
    moves = [
        one
        for one in read_entries(logbook, MoveEntry)[0]
        if one.before in takes or same_pair(logbook, one, pair)
    ]
    return [_history_move(logbook, one) for one in sorted(moves, key=lambda one: one.written)]


def _history_move(logbook: Logbook, move: MoveEntry) -> HistoryMove:
    """Return a move with its promise, and with its result if that can be read."""
    promised = None
    if move.expected_m is not None:
        promised = Promise(difference_m=move.expected_m, std_m=move.expected_std_m or 0.0)
    judgement, problem = None, None
    try:
        judgement = judge_move(logbook, move)
    except MeasureError as found:
        problem = str(found)
    return HistoryMove(
        after=move.before or f"survey {move.survey}",
        up_to=move.after or (f"survey {move.after_survey}" if move.after_survey else None),
        left_away_m=move.left_away_m,
        right_away_m=move.right_away_m,
        steps=tuple(move.steps),
        promised=promised,
        judgement=judgement,
        problem=problem,
    )
