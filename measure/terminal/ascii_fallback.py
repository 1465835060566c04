"""Signs for a terminal or a file that doesn't know all of Unicode.

An old terminal, or output sent to a file on Windows, may know neither the minus sign nor
the arrows. A question mark in place of a minus would turn a result round, so each is
written by what people type for it.
"""

from __future__ import annotations

import codecs
import sys
from typing import Final

HANDLER: Final = "apexline_ascii_fallback"

_ASCII: Final = {
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


def replace_unencodable(problem: UnicodeError) -> tuple[str, int]:
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
    return "".join(_ASCII.get(sign, "?") for sign in signs), problem.end


def use_ascii_fallback() -> None:
    """Have standard output and error write ASCII for what they can't encode."""
    codecs.register_error(HANDLER, replace_unencodable)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None and stream.errors != "surrogateescape":
            reconfigure(errors=HANDLER)
