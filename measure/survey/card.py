"""A card to print: what to read, in which order, with space to write the figures by hand."""

from __future__ import annotations

from typing import Final

from analysis.survey.survey import SIDES
from measure.survey.file import SurveyFile

WIDTH: Final = 74
_BLANK: Final = "." * 12

_HEAD: Final = """\
SURVEY CARD                                   date ............
Left and right as seen from the seat, facing the loudspeakers. Edges are the
front edges of the cabinets at the height of the tweeter: inner is the one
nearer the middle. Straight distances, heights included; to walls and to the
line square to them, tape level. Read a second time whatever decides a move.

Never look into the laser, nor point it at eyes, glass or polished metal.
Two people lift or tilt a loudspeaker; mind spikes and stands. Don't touch the
tweeter: hold a card in front of it.
"""


def card_text(file: SurveyFile) -> str:
    """Return the card of a survey file, every observation of it with blanks to fill.

    Returns
    -------
    str
        Plain text of at most 78 columns, for a page of A4.
    """
    survey = file.survey
    heights = ["head (ears)", *(f"{side} tweeter" for side in SIDES)]
    heights += [mark.name for mark in survey.marks]
    parts = [
        _HEAD,
        f"All lengths in ............ (the file's unit is {file.unit})",
        "",
        "Heights above the floor",
        *_blank_lines(heights, n_blanks=1),
        "",
        "Cabinets                width         depth         height",
        *(f"  {side:<18} {_BLANK}  {_BLANK}  {_BLANK}" for side in SIDES),
    ]
    for instrument in ("tape", "laser"):
        labels = dict.fromkeys(
            one.label.split(", reading ")[0]
            for one in survey.observations
            if one.instrument == instrument
        )
        if labels:
            title = f"With the {instrument}"
            parts += [
                "",
                f"{title:<41} first         second",
                *_blank_lines(list(labels), n_blanks=2),
            ]
    return "\n".join(parts) + "\n"


def _blank_lines(labels: list[str], *, n_blanks: int) -> list[str]:
    """Return a line for each observation."""
    blanks = "  ".join([_BLANK] * n_blanks)
    return [f"  {number:>2}  {label[:35]:<35}{blanks}" for number, label in enumerate(labels, 1)]
