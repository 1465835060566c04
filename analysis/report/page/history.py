"""The page of one pair's history: its takes in their order, and the moves between them."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.comparison.history import HistoryMove, HistoryTake
from analysis.plots.page.history import arrival_history_svg, bass_history_svg
from analysis.report import format as fmt
from analysis.report.comparison.move_promise import judgement_text, promise_text
from analysis.report.page.html import PagePart, page_html


def history_page(pair: str, takes: Sequence[HistoryTake], moves: Sequence[HistoryMove]) -> str:
    """Return the page.

    Parameters
    ----------
    takes : sequence of HistoryTake
        In their order; one of them at least has an arrival.
    """
    caption = "Takes in their order, as numbered below; grey: two standard deviations."
    parts = [PagePart(heading="Arrival", figure=arrival_history_svg(takes), caption=caption)]
    bass = bass_history_svg(takes)
    if bass is not None:
        words = "Both together, against 200 to 1000 Hz: solid, dashed, dotted by rising frequency."
        parts.append(PagePart(heading="Bass", figure=bass, caption=words))
    parts.append(PagePart(heading="Takes", rows=_rows(takes)))
    texts = tuple(move_text(one) for one in moves)
    parts.append(PagePart(heading="Moves", texts=texts or ("None is kept.",)))
    return page_html(
        title=f"History of {pair}",
        when=f"{takes[0].started:%Y-%m-%d} to {takes[-1].started:%Y-%m-%d}, {len(takes)} takes",
        verdict=[_verdict(takes)],
        parts=parts,
    )


def move_text(move: HistoryMove) -> str:
    """Return a move with its promise and its result."""
    if move.problem is not None:
        result = f"Its result can't be read: {move.problem}"
    elif move.judgement is None:
        result = "It has no result yet."
    else:
        result = judgement_text(move.judgement)
    return " ".join((_describe_move(move), promise_text(move.promised), result))


def _verdict(takes: Sequence[HistoryTake]) -> str:
    """Return where it began and where it is now."""
    known = [one for one in takes if one.arrival_m is not None]
    first, last = (
        fmt.mm(one.arrival_m or 0.0, one.arrival_std_m or 0.0, sign=True)
        for one in (known[0], known[-1])
    )
    return f"Left minus right was {first} at first and is {last} now."


def _rows(takes: Sequence[HistoryTake]) -> tuple[tuple[str, ...], ...]:
    """Return the takes as a table."""
    rows: list[tuple[str, ...]] = [("number", "when", "take", "place", "left − right")]
    for number, one in enumerate(takes, start=1):
        arrival = "none" if one.arrival_m is None else fmt.mm(one.arrival_m, one.arrival_std_m)
        when = f"{one.started:%Y-%m-%d %H:%M}"
        rows.append((str(number), when, one.name, one.place or "", arrival))
    return tuple(rows)


def _describe_move(move: HistoryMove) -> str:
    """Return a move and between what it lies."""
    steps = [
        f"{side} {fmt.mm(abs(way_m))} {'away from' if way_m > 0 else 'towards'} the seat"
        for side, way_m in (("left", move.left_away_m), ("right", move.right_away_m))
        if way_m
    ]
    what = " ".join(move.steps) or f"{' and '.join(steps) or 'nothing'}."
    return f"After {move.after}{f', up to {move.up_to}' if move.up_to else ''}: {what}"
