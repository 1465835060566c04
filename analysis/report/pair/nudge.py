"""What the nudge loop shows: large figures and an arrow, then a few lines of words.

Conventions: left minus right, positive where left is farther; ``±`` is one standard deviation
with draughts and the microphone's place in it. An arrow up is away from the seat, one down
toward it. Nothing is told by colour.
"""

from __future__ import annotations

import textwrap
from typing import Final

from analysis.pair.arrival import IN_ROOM_STD_M
from analysis.pair.nudge.answer import Doubt, NudgeAnswer
from analysis.pair.nudge.track import TREND_M_S, NudgeTrack, move_advice, trend_m_s
from analysis.report import format as fmt
from analysis.report.pair.large_figures import big, width

UP: Final = "\N{UPWARDS ARROW}"
DOWN: Final = "\N{DOWNWARDS ARROW}"

N_SHOWN: Final = 4
"""Earlier readings that are shown beside the latest."""

N_OTHER: Final = 2
"""So often in a row must the other loudspeaker be seen to move before that is said."""

N_NOISY: Final = 8
"""So many answers in a row that noise spoilt, some two seconds, and it is more than a cough."""

WHOLE_FROM_M: Final = 9.95e-3
"""From here on whole millimetres are shown large."""

_DOUBTS: Final = {
    Doubt.NOISE: "a noise, or a quick move",
    Doubt.LOST: "the recording has a gap",
    Doubt.SILENT: "the microphone delivers silence; is it muted or unplugged?",
    Doubt.CLIPPED: "the microphone's input is too loud; turn its gain down",
    Doubt.UNHEARD: "the {side} loudspeaker isn't heard",
    Doubt.JUMP: "it moves too fast, or the recording jumped",
    Doubt.COVERED: "something stands before the {side} loudspeaker, or its volume changed",
    Doubt.UNLIKE: "two methods disagree; something stands close to the path",
}


def nudge_lines(track: NudgeTrack, *, columns: int = 80, plain: bool = False) -> list[str]:
    """Return what to show after an answer.

    Parameters
    ----------
    track : NudgeTrack
    columns : int
        Width of the terminal, at least 40.
    plain : bool
        ASCII characters alone.

    Returns
    -------
    list of str
        None of them wider than `columns`; large figures first. Empty before the first answer.

    Raises
    ------
    ValueError
        If there are fewer than 40 columns.
    """
    if columns < 40:
        msg = f"columns {columns} must be 40 or more"
        raise ValueError(msg)
    latest = track.latest
    if latest is None:
        return []
    words = [say_move(track), *_figures(latest), *_trend(track), *notices(track)]
    lines = [*_large(track, latest, columns, plain=plain), ""]
    for text in words:
        lines += _wrapped(text, columns)
    return [_ascii(line) for line in lines] if plain else lines


def say_move(track: NudgeTrack) -> str:
    """Return what to do now in one sentence, the arrow first."""
    latest = track.latest
    if latest is None:
        return "listening for the sweeps"
    if latest.doubt is not None or latest.difference_m is None:
        return f"? unsure: {say_doubt(latest)}"
    tolerance = f"{fmt.number(track.tolerance_m * 1e3, places=1)} mm"
    if track.done:
        more = ""
        if track.tolerance_m < IN_ROOM_STD_M:
            more = f"; draughts and the microphone's place leave {fmt.mm(IN_ROOM_STD_M)}, though"
        return f"done: three readings in a row within {tolerance}{more}"
    todo = move_advice(latest.difference_m, move=track.move, tolerance_m=track.tolerance_m)
    if not todo.needed and track.mover is not None:
        return f"= within {tolerance}: let go of it and stand clear"
    if not todo.needed:
        return f"= within {tolerance}: leave it there ({len(track.agreed)} of 3 readings)"
    arrow, way = (DOWN, "toward") if todo.toward_seat else (UP, "away from")
    return f"{arrow} {todo.side} {fmt.move_mm(todo.distance_m)} {way} the seat"


def nudge_summary(track: NudgeTrack, *, plain: bool = False) -> str:
    """Return the latest answer in one line, for a log or a last word.

    Parameters
    ----------
    track : NudgeTrack
    plain : bool
        ASCII characters alone.

    Returns
    -------
    str
    """
    latest = track.latest
    if latest is None:
        return "no answer yet"
    text = "; ".join([say_move(track), *_figures(latest), *notices(track)])
    return _ascii(text) if plain else text


def say_doubt(answer: NudgeAnswer) -> str:
    """Return why an answer is unsure, in words."""
    if answer.doubt is None:
        return "no figure came out"
    if answer.doubt is Doubt.UNHEARD and answer.doubt_side is None:
        return "neither loudspeaker is heard"
    return _DOUBTS[answer.doubt].format(side=answer.doubt_side or "")


def notices(track: NudgeTrack) -> list[str]:
    """Return what else the person should know."""
    other = {"left": "right", "right": "left"}[track.move]
    noisy = [one.doubt is Doubt.NOISE for one in track.answers[-N_NOISY:]]
    if len(noisy) == N_NOISY and all(noisy):
        return ["Too much noise: make the room quieter, or turn the amplifier up a little."]
    if track.mover == "microphone":
        return ["Both change: does the microphone move? Leave it where it stands."]
    if track.n_moved_other >= N_OTHER:
        return [
            f"The {other} loudspeaker moves, and the figures are for sliding the {track.move} "
            f"one. If it is the {track.move} one in your hands, the channels are exchanged."
        ]
    return []


def _figures(latest: NudgeAnswer) -> list[str]:
    """Return the difference and the level in words."""
    lines = []
    if latest.difference_m is not None and latest.doubt is None:
        lines.append(
            f"left minus right {fmt.mm(latest.difference_m, latest.in_room_std_m, sign=True)}"
        )
    if latest.level_db is not None and latest.doubt is None:
        lines.append(f"level {_level(latest.level_db, latest.level_std_db)}")
    return lines


def _level(level_db: float, std_db: float | None) -> str:
    size = fmt.db(abs(level_db), std_db)
    if size.startswith("0.0"):
        return "alike"
    return f"{'left' if level_db > 0 else 'right'} {size} louder"


def _trend(track: NudgeTrack) -> list[str]:
    """Return the last readings, one for each three sweeps, and where they lead."""
    shown: list[NudgeAnswer] = []
    for one in reversed(track.sure):
        if one.difference_m is not None and (not shown or shown[-1].index - one.index >= 3):
            shown.append(one)
    if len(shown) < 2:
        return []
    values = [
        fmt.number((one.difference_m or 0.0) * 1e3, places=1, sign=True)
        for one in reversed(shown[: N_SHOWN + 1])
    ]
    return [f"last {' '.join(values)} mm{_direction(track, shown[0].difference_m or 0.0)}"]


def _direction(track: NudgeTrack, difference_m: float) -> str:
    """Return whether the difference shrinks."""
    speed_m_s = trend_m_s(track)
    if track.mover in {"left", "right"}:
        moving = f"; {track.mover} is moving"
    else:
        moving = "; moving" if track.mover == "something" else ""
    if speed_m_s is None:
        return moving
    if abs(speed_m_s) <= TREND_M_S:
        return f", steady{moving}"
    if abs(difference_m) <= track.tolerance_m:
        return moving
    return f", {'growing' if speed_m_s * difference_m > 0 else 'shrinking'}{moving}"


def _large(track: NudgeTrack, latest: NudgeAnswer, columns: int, *, plain: bool) -> list[str]:
    """Return the large figures, as large and as many as fit."""
    wide = columns >= 80
    if latest.doubt is not None or latest.difference_m is None:
        return big("?", wide=wide, plain=plain)
    if track.done:
        return big("DONE", wide=wide, plain=plain)
    todo = move_advice(latest.difference_m, move=track.move, tolerance_m=track.tolerance_m)
    arrow = ("v" if todo.toward_seat else "^") if todo.needed else "="
    figure = _figure(latest.difference_m, sign=True)
    texts = [f"{arrow} {figure}"]
    if latest.in_room_std_m is not None:
        for places in (0, 1):
            texts.append(f"{arrow} {figure} ~{latest.in_room_std_m * 1e3:.{places}f}")
    fitting = [text for text in texts if width(text, wide=wide) < columns]
    return big(fitting[-1] if fitting else figure, wide=wide and bool(fitting), plain=plain)


def _figure(difference_m: float, *, sign: bool) -> str:
    """Return millimetres as the large figures have them."""
    places = 0 if abs(difference_m) >= WHOLE_FROM_M else 1
    text = fmt.number(difference_m * 1e3, places=places, sign=sign)
    return text.replace(fmt.MINUS, "-")


def _wrapped(text: str, columns: int) -> list[str]:
    return textwrap.wrap(text, width=columns - 1, subsequent_indent="  ")


def _ascii(line: str) -> str:
    """Return a line without characters outside ASCII."""
    for sign, plain in ((UP, "^"), (DOWN, "v"), (fmt.MINUS, "-"), ("\N{PLUS-MINUS SIGN}", "+/-")):
        line = line.replace(sign, plain)
    return line
