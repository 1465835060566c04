"""An answer of the nudge loop as JSON knows it; docs/nudge.md has its keys."""

from __future__ import annotations

import json

from analysis.pair.nudge.track import NudgeTrack, advice


def json_line(track: NudgeTrack) -> str:
    """Return the latest answer as a line of JSON.

    Parameters
    ----------
    track : NudgeTrack
        With an answer.

    Returns
    -------
    str
    """
    latest = track.latest
    assert latest is not None
    sure = latest.doubt is None and latest.difference_m is not None
    todo = advice(latest.difference_m or 0.0, move=track.move, tolerance_m=track.tolerance_m)
    document = {
        "schema": 1,
        "command": "nudge",
        "sweep": latest.index,
        "time_s": round(latest.time_s, 4),
        "left_minus_right_mm": _mm(latest.difference_m) if sure else None,
        "std_mm": _mm(latest.std_m) if sure else None,
        "in_room_std_mm": _mm(latest.in_room_std_m) if sure else None,
        "level_left_minus_right_db": _rounded(latest.level_db),
        "level_std_db": _rounded(latest.level_std_db),
        "unsure": None if latest.doubt is None else latest.doubt.value,
        "unsure_side": latest.doubt_side,
        "moving": track.mover,
        "move": track.move,
        "move_mm": _mm(todo.distance_m) if sure else None,
        "toward_seat": todo.toward_seat if sure else None,
        "within_tolerance": not todo.needed if sure else None,
        "n_agreed": len(track.agreed),
        "done": track.done,
    }
    return json.dumps(document, allow_nan=False)


def _mm(value_m: float | None) -> float | None:
    """Return millimetres to a micrometre."""
    return _rounded(None if value_m is None else 1e3 * value_m)


def _rounded(value: float | None) -> float | None:
    """Return a number to three decimals."""
    return None if value is None else round(value, 3)
