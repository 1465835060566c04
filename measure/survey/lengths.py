"""Lengths as a person types them: millimetres, centimetres, metres, feet and inches.

Conventions: metres leave. A bare number is in the unit that the file states. Feet and inches
are the international ones, 0.3048 m and 25.4 mm exactly.
"""

from __future__ import annotations

import re
from typing import Final, Literal

Unit = Literal["mm", "cm", "m", "in"]

METRES: Final[dict[Unit, float]] = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}

_SIGNS: Final = str.maketrans(
    {"′": "'", "’": "'", "″": '"', "”": '"', "\N{MINUS SIGN}": "-", ",": ".", "⁄": "/"}
)
_FRACTIONS: Final = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8"} | {
    "⅝": " 5/8",
    "⅞": " 7/8",
}

_NUMBER: Final = r"\d+(?:\.\d*)?|\.\d+"
_METRIC: Final = re.compile(rf"({_NUMBER})\s*(mm|cm|m)?", re.ASCII)
_INCHES: Final = re.compile(
    rf"(?:({_NUMBER})\s*(?:'|ft|feet|foot)\s*-?\s*)?"
    rf"(?:({_NUMBER})??\s*(?:(\d+)\s*/\s*(\d+))?\s*(?:\"|''|in|inch|inches)?)?",
    re.ASCII,
)


def parse_length(given: float | str, *, unit: Unit) -> float:
    """Return a length in metres.

    Parameters
    ----------
    given : float or str
        A bare number, or a text such as ``812 mm``, ``81.2 cm``, ``0.812 m``, ``32 in``,
        ``32 1/2"`` or ``5' 3 1/2"``.
    unit : {"mm", "cm", "m", "in"}
        Of bare numbers.

    Raises
    ------
    ValueError
        If it isn't a length of 0 or more.
    """
    if isinstance(given, bool):
        msg = f"{given!r} isn't a length: give a number, or a text such as '812 mm'"
        raise ValueError(msg)
    if isinstance(given, (int, float)):
        return _require_length(given * METRES[unit], given)
    if re.search(r"[1-9]\d{0,2},\d{3}(?!\d)", given):
        msg = f"{given!r}: a comma before three digits may mean two things; write it without"
        raise ValueError(msg)
    text = given.strip().lower().translate(_SIGNS)
    for sign, fraction in _FRACTIONS.items():
        text = text.replace(sign, fraction)
    metric = _METRIC.fullmatch(text)
    if metric:
        scale = METRES[metric[2]] if metric[2] else METRES[unit]  # type: ignore[index]
        return _require_length(float(metric[1]) * scale, given)
    inches = _INCHES.fullmatch(text)
    named = unit == "in" or re.search(r"'|\"|ft|feet|foot|in", text)
    if inches and named and any(inches.groups()):
        feet, whole, above, below = inches.groups()
        if below is None or int(below):
            part = int(above) / int(below) if above else 0.0
            total = 12 * float(feet or 0) + float(whole or 0) + part
            return _require_length(total * METRES["in"], given)
    msg = (
        f"{given!r} isn't a length: write it as 812, '812 mm', '81.2 cm', '0.812 m', '32 in' "
        "or '5 ft 3 1/2 in'"
    )
    raise ValueError(msg)


def _require_length(value_m: float, given: float | str) -> float:
    """Return the length, refused where it can't be one."""
    if not 0 <= value_m < 1000:
        msg = f"{given!r} isn't a length from 0 to 1000 m"
        raise ValueError(msg)
    return value_m


def say_length(value_m: float, *, unit: Unit, places: int | None = None) -> str:
    """Return a length in a unit as a tape shows it.

    Parameters
    ----------
    places : int, optional
        Decimals; by default whole millimetres, or sixteenths of an inch as a decimal.
    """
    usual = {"mm": 0, "cm": 1, "m": 3, "in": 2}[unit]
    return f"{value_m / METRES[unit]:.{usual if places is None else places}f} {unit}"
