"""The page of one pair's history, for ``apexline report --pair``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.plots.page.history import HistoryPoint
    from measure.logbook.entries.entries import MoveEntry
    from measure.logbook.folder import Logbook
    from measure.logbook.take_index import TakeLine


def history_page(folder: Path, pair: str) -> str:
    """Return the page: every take of the pair in its order, and the moves between them.

    Raises
    ------
    LogbookError
        If the logbook has no take of the pair.
    """
    from analysis.plots.page.history import arrival_history_svg, bass_history_svg
    from analysis.report.page import Part, page_html
    from measure.errors import LogbookError
    from measure.logbook.folder import open_logbook
    from measure.logbook.selection import Selection, select_takes
    from measure.logbook.take_index import list_takes

    logbook = open_logbook(folder)
    lines = select_takes(list_takes(logbook).takes, Selection(pair=pair))
    if not any(one.arrival_mm is not None for one in lines):
        msg = f"there is no take of the pair {pair} with an arrival in {logbook.path}"
        raise LogbookError(msg)
    points = [_point(logbook, one) for one in lines]
    caption = "Takes in their order, as numbered below; grey: two standard deviations."
    parts = [Part(heading="Arrival", figure=arrival_history_svg(points), caption=caption)]
    bass = bass_history_svg(points)
    if bass is not None:
        words = "Both together, against 200 to 1000 Hz: solid, dashed, dotted by rising frequency."
        parts.append(Part(heading="Bass", figure=bass, caption=words))
    parts.append(Part(heading="Takes", rows=_rows(lines)))
    moves = move_texts(logbook, {one.name for one in lines}, pair)
    parts.append(Part(heading="Moves", texts=tuple(moves) or ("None is kept.",)))
    return page_html(
        title=f"History of {pair}",
        when=f"{lines[0].started:%Y-%m-%d} to {lines[-1].started:%Y-%m-%d}, {len(lines)} takes",
        verdict=[_verdict(lines)],
        parts=parts,
    )


def _verdict(lines: list[TakeLine]) -> str:
    """Return where it began and where it is now."""
    from analysis.report import format as fmt

    known = [one for one in lines if one.arrival_mm is not None]
    first, last = (
        fmt.mm((one.arrival_mm or 0.0) * 1e-3, (one.arrival_std_mm or 0.0) * 1e-3, sign=True)
        for one in (known[0], known[-1])
    )
    return f"Left minus right was {first} at first and is {last} now."


def _point(logbook: Logbook, line: TakeLine) -> HistoryPoint:
    """Return a take's place in the history."""
    from analysis.plots.page.history import HistoryPoint
    from measure.files.readings.document import load_document
    from measure.takes.names import READING

    path = logbook.takes / line.folder / READING
    balance = load_document(path)["bass"]["both"]["balance"] if path.is_file() else []
    return HistoryPoint(
        name=line.name,
        arrival_m=None if line.arrival_mm is None else line.arrival_mm * 1e-3,
        arrival_std_m=None if line.arrival_std_mm is None else line.arrival_std_mm * 1e-3,
        balance_db=tuple(
            (f"{band['band_hz'][0]:.0f} to {band['band_hz'][1]:.0f} Hz", band["level_db"])
            for band in balance
        ),
    )


def _rows(lines: list[TakeLine]) -> tuple[tuple[str, ...], ...]:
    """Return the takes as a table."""
    from analysis.report import format as fmt

    rows: list[tuple[str, ...]] = [("number", "when", "take", "place", "left − right")]
    for number, one in enumerate(lines, start=1):
        std_m = None if one.arrival_std_mm is None else one.arrival_std_mm * 1e-3
        arrival = "none" if one.arrival_mm is None else fmt.mm(one.arrival_mm * 1e-3, std_m)
        when = f"{one.started:%Y-%m-%d %H:%M}"
        rows.append((str(number), when, one.name, one.place or "", arrival))
    return tuple(rows)


def move_texts(logbook: Logbook, names: set[str], pair: str) -> list[str]:
    """Return each move with its promise and its result."""
    from analysis.comparison.move_promise import Promise
    from analysis.report.comparison.move_promise import judgement_text, promise_text
    from measure.errors import MeasureError
    from measure.logbook.entries.entries import MoveEntry
    from measure.logbook.entries.moves import judged, same_pair
    from measure.logbook.entries.store import read_entries

    said = []
    moves = [
        one
        for one in read_entries(logbook, MoveEntry)[0]
        if one.before in names or same_pair(logbook, one, pair)
    ]
    for move in sorted(moves, key=lambda one: one.written):
        expected = (
            None
            if move.expected_m is None
            else Promise(difference_m=move.expected_m, std_m=move.expected_std_m or 0.0)
        )
        try:
            found = judged(logbook, move)
            result = "It has no result yet." if found is None else judgement_text(found)
        except MeasureError as problem:
            result = f"Its result can't be read: {problem}"
        said.append(" ".join((_what(move), promise_text(expected), result)))
    return said


def _what(move: MoveEntry) -> str:
    """Return a move and between what it lies."""
    from analysis.report import format as fmt

    steps = [
        f"{side} {fmt.mm(abs(way_m))} {'away from' if way_m > 0 else 'towards'} the seat"
        for side, way_m in (("left", move.left_away_m), ("right", move.right_away_m))
        if way_m
    ]
    what = " ".join(move.steps) or f"{' and '.join(steps) or 'nothing'}."
    after = move.after or (f"survey {move.after_survey}" if move.after_survey else None)
    return (
        f"After {move.before or f'survey {move.survey}'}"
        f"{f', up to {after}' if after else ''}: {what}"
    )
