"""Numbers as a person reads them: digits that follow the uncertainty, one sign for minus.

Conventions: values come in SI, millimetres leave. ``±`` is one standard deviation.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable
from typing import Final

WIDTH: Final = 78
"""Columns that a line may fill: a terminal's 80 less an indent of two."""

MINUS: Final = "\N{MINUS SIGN}"

MOST_DECIMALS: Final = 2
"""No tape and no ear uses more."""


def decimals(std: float | None, *, unknown: int = 1) -> int:
    """Return how many decimals a value with this uncertainty deserves.

    Parameters
    ----------
    std : float or None
        One sigma, in the unit that will be printed; at least 0.
    unknown : int
        For no uncertainty, or none at all.

    Returns
    -------
    int
        0 to ``MOST_DECIMALS``.

    Notes
    -----
    The uncertainty keeps two digits where its three leading ones lie below 355, else one:
    the rounding rule of the Particle Data Group's reviews (from memory).
    """
    if std is None or not math.isfinite(std) or std <= 0:
        return unknown
    exponent = math.floor(math.log10(std))
    leading = std / 10.0**exponent
    n_digits = 2 if leading < 3.55 or leading >= 9.5 else 1
    if leading >= 9.5:
        exponent += 1
    return min(max(n_digits - 1 - exponent, 0), MOST_DECIMALS)


def number(value: float, *, places: int, sign: bool = False) -> str:
    """Return a number with a real minus sign and no minus before zero."""
    text = f"{value:+.{places}f}" if sign else f"{value:.{places}f}"
    if not text.strip("+-0."):
        text = text.lstrip("+-")
    return text.replace("-", MINUS)


def with_std(value: float, std: float | None, unit: str, *, sign: bool = False) -> str:
    """Return value, uncertainty and unit: ``7.3 ± 1.1 mm``.

    Parameters
    ----------
    value : float
    std : float or None
        One sigma in the same unit; left out where unknown.
    unit : str
    sign : bool
        Whether a plus is written.

    Returns
    -------
    str
    """
    places = decimals(std)
    said = number(value, places=places, sign=sign)
    if std is None or not math.isfinite(std):
        return f"{said} {unit}"
    shown = max(std, 10.0**-places) if std > 0 else std
    return f"{said} ± {number(shown, places=places)} {unit}"


def mm(value_m: float, std_m: float | None = None, *, sign: bool = False) -> str:
    """Return a length given in metres as millimetres with its uncertainty."""
    return with_std(value_m * 1e3, None if std_m is None else std_m * 1e3, "mm", sign=sign)


def move_mm(value_m: float) -> str:
    """Return the length of a move in whole millimetres, as a tape has them."""
    return f"{number(abs(value_m) * 1e3, places=0)} mm"


def db(value_db: float, std_db: float | None = None, *, sign: bool = False) -> str:
    """Return a level in dB to a tenth, with its uncertainty where that can be seen."""
    said = number(value_db, places=1, sign=sign)
    if std_db is None or not 0.05 <= std_db < math.inf:
        return f"{said} dB"
    return f"{said} ± {number(std_db, places=1)} dB"


def hz(frequency_hz: float, std_hz: float | None = None) -> str:
    """Return a frequency in whole Hz, or to a tenth with its uncertainty."""
    if std_hz is not None:
        places = min(decimals(std_hz), 1)
        shown = number(max(std_hz, 0.1), places=places)
        return f"{number(frequency_hz, places=places)} ± {shown} Hz"
    if frequency_hz >= 1000:
        return f"{frequency_hz / 1000:.3g} kHz"
    return f"{frequency_hz:.0f} Hz"


def band(band_hz: tuple[float, float]) -> str:
    """Return a band of frequencies: ``1.25 to 8 kHz``."""
    low_hz, high_hz = band_hz
    if low_hz >= 1000:
        return f"{low_hz / 1000:.3g} to {high_hz / 1000:.3g} kHz"
    if high_hz >= 1000:
        return f"{low_hz:.0f} Hz to {high_hz / 1000:.3g} kHz"
    return f"{low_hz:.0f} to {high_hz:.0f} Hz"


def wrapped(text: str, *, indent: int = 0, hanging: int = 0) -> list[str]:
    """Return a text in lines of at most ``WIDTH`` columns.

    Parameters
    ----------
    text : str
    indent : int
        Blanks before each line.
    hanging : int
        Further blanks before all lines but the first.

    Returns
    -------
    list of str
    """
    return textwrap.wrap(
        text,
        width=WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hanging),
        break_on_hyphens=False,
    )


def table(
    rows: Iterable[tuple[str, ...]], *, right: tuple[int, ...] = (), gap: int = 2
) -> list[str]:
    """Return rows as aligned lines.

    Parameters
    ----------
    rows : iterable of tuple of str
        All of one length; the first may hold the headings.
    right : tuple of int
        Columns that are aligned at their right end.
    gap : int
        Blanks between columns.

    Returns
    -------
    list of str
    """
    cells = list(rows)
    if not cells:
        return []
    widths = [max(len(row[k]) for row in cells) for k in range(len(cells[0]))]
    lines = []
    for row in cells:
        parts = [
            cell.rjust(width) if k in right else cell.ljust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append((" " * gap).join(parts).rstrip())
    return lines
