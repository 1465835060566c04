"""Signs for a terminal or a file that doesn't know all of Unicode.

An old terminal, or output sent to a file on Windows, may know neither the minus sign nor
the arrows. A question mark in place of a minus would turn a result round, so each is
written by what people type for it.
"""

from __future__ import annotations

import codecs
import sys
from typing import Final

HANDLER: Final = "apexline_plain_signs"

_PLAIN: Final = {
    "−": "-",
    "±": "+-",
    "→": "->",
    "↑": "^",
    "↓": "v",
    "·": "*",
    "×": "x",
    "≤": "<=",
    "≥": ">=",
    "…": "...",
    "°": " deg",
    "²": "2",
    "█": "#",
}


def plain(problem: UnicodeError) -> tuple[str, int]:
    """Return what stands for signs that can't be encoded, and where to go on.

    Parameters
    ----------
    problem : UnicodeError

    Returns
    -------
    tuple of (str, int)
        As `codecs.register_error` wants it; a question mark for an unknown sign.

    Raises
    ------
    UnicodeError
        `problem` itself, where it isn't about encoding.
    """
    if not isinstance(problem, UnicodeEncodeError):
        raise problem
    signs = problem.object[problem.start : problem.end]
    return "".join(_PLAIN.get(sign, "?") for sign in signs), problem.end


def use_plain_signs() -> None:
    """Have standard output and error write plain signs where they must."""
    codecs.register_error(HANDLER, plain)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None and stream.errors != "surrogateescape":
            reconfigure(errors=HANDLER)
