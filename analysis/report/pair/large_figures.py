"""Figures and signs large enough to be read from three metres, out of plain characters.

Conventions: each glyph is seven rows of dots. A dot is one or two characters wide; two, where
there is room, make it about square.
"""

from __future__ import annotations

from typing import Final

BLOCK: Final = "\N{FULL BLOCK}"
PLAIN: Final = "#"

N_ROWS: Final = 7

GLYPHS: Final = {
    "0": " ## /#  #/#  #/#  #/#  #/#  #/ ## ",
    "1": "  # / ## /# # /  # /  # /  # /  # ",
    "2": " ## /#  #/   #/  # / #  /#   /####",
    "3": "### /   #/   #/ ## /   #/   #/### ",
    "4": "#  #/#  #/#  #/####/   #/   #/   #",
    "5": "####/#   /### /   #/   #/#  #/ ## ",
    "6": " ## /#   /#   /### /#  #/#  #/ ## ",
    "7": "####/   #/   #/  # /  # / #  / #  ",
    "8": " ## /#  #/#  #/ ## /#  #/#  #/ ## ",
    "9": " ## /#  #/#  #/ ###/   #/   #/ ## ",
    ".": " / / / / / /#",
    " ": " / / / / / / ",
    "+": "   /   / # /###/ # /   /   ",
    "-": "   /   /   /###/   /   /   ",
    "~": "   / # /###/ # /   /###/   ",
    "?": " ## /#  #/   #/  # / #  /    / #  ",
    "^": "  #  / ### /# # #/  #  /  #  /  #  /  #  ",
    "v": "  #  /  #  /  #  /  #  /# # #/ ### /  #  ",
    "=": "    /    /####/    /####/    /    ",
    "D": "### /#  #/#  #/#  #/#  #/#  #/### ",
    "O": " ## /#  #/#  #/#  #/#  #/#  #/ ## ",
    "N": "#  #/## #/## #/# ##/# ##/#  #/#  #",
    "E": "####/#   /#   /### /#   /#   /####",
}
"""Rows of dots by character; ``~`` is the plus-or-minus sign, ``^`` and ``v`` are arrows."""


def big(text: str, *, wide: bool, plain: bool = False) -> list[str]:
    """Return a text in large figures.

    Parameters
    ----------
    text : str
        Of the characters in `GLYPHS`.
    wide : bool
        Two characters a dot.
    plain : bool
        Of ASCII alone.

    Returns
    -------
    list of str
        Seven lines without trailing blanks.

    Raises
    ------
    ValueError
        If a character has no glyph.
    """
    unknown = sorted(set(text) - set(GLYPHS))
    if unknown:
        msg = f"text {text!r} must be made of {''.join(GLYPHS)!r}"
        raise ValueError(msg)
    dot = (PLAIN if plain else BLOCK) * (2 if wide else 1)
    blank = " " * len(dot)
    rows = [GLYPHS[character].split("/") for character in text]
    lines = []
    for row in range(N_ROWS):
        dots = " ".join(glyph[row] for glyph in rows)
        lines.append("".join(dot if one == "#" else blank for one in dots).rstrip())
    return lines


def width(text: str, *, wide: bool) -> int:
    """Return how many columns a text takes in large figures."""
    dots = sum(len(GLYPHS[character].split("/")[0]) for character in text) + len(text) - 1
    return dots * (2 if wide else 1)
