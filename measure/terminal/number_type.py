"""What an option takes as a number: finite, with a decimal point.

``nan`` passes every comparison with a limit, and half of Europe writes a decimal comma, so
both are refused here, where the option can be named.
"""

from __future__ import annotations

import math
import re
from typing import Any, Final

import click

_DECIMAL_COMMA: Final = re.compile(r"[-+]?\d*,\d+")


class Number(click.types.FloatParamType):
    """Any number."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number that was typed."""
        return number(value, self, param, ctx)


class NumberRange(click.FloatRange):
    """A number between limits."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number that was typed, if it lies between the limits."""
        typed = number(value, self, param, ctx)
        return float(super().convert(typed, param, ctx))


class CelsiusRange(NumberRange):
    """The temperature of a room's air, from -20 to 50 °C."""

    def __init__(self) -> None:
        super().__init__(-20, 50)

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the temperature that was typed; above the range it may be in Fahrenheit."""
        typed = number(value, self, param, ctx)
        if 50 < typed <= 122:
            celsius = f"{(typed - 32) / 1.8:.1f}"
            self.fail(f"{typed:g} °C is no room's; if it is in °F, write {celsius}", param, ctx)
        return super().convert(typed, param, ctx)


def number(
    value: Any,
    kind: click.ParamType[float],
    param: click.Parameter | None,
    ctx: click.Context | None,
) -> float:
    """Return a typed number.

    Parameters
    ----------
    value : str or float
    kind : click.ParamType
        Which fails where it is none.
    param : click.Parameter or None
    ctx : click.Context or None

    Returns
    -------
    float
        Finite.

    Raises
    ------
    click.BadParameter
        If it is none.
    """
    text = str(value).strip()
    if _DECIMAL_COMMA.fullmatch(text):
        kind.fail(f"{text} has a decimal comma: write {text.replace(',', '.')}", param, ctx)
    try:
        typed = float(text)
    except ValueError:
        typed = math.nan
    if not math.isfinite(typed):
        kind.fail(f"{text!r} is no number", param, ctx)
    return typed
