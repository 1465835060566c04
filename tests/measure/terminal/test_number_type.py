"""Numbers as options take them. Truth: known inputs; what a person types."""

from __future__ import annotations

import click
import pytest

from measure.terminal.number_type import Number, NumberRange


@pytest.mark.parametrize("kind", [Number(), NumberRange(0, 10)])
def test_numbers_are_taken(kind: click.ParamType[float]) -> None:
    # Known input.
    assert kind.convert("1.5", None, None) == 1.5
    assert kind.convert(2, None, None) == 2.0


@pytest.mark.parametrize("kind", [Number(), NumberRange(0, 10)])
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("nan", "'nan' is no number"),
        ("inf", "'inf' is no number"),
        ("1,5", "1,5 has a decimal comma: write 1.5"),
        ("two", "'two' is no number"),
        ("", "'' is no number"),
    ],
)
def test_what_is_no_number_is_refused(kind: click.ParamType[float], typed: str, said: str) -> None:
    # Known input.
    with pytest.raises(click.BadParameter) as caught:
        kind.convert(typed, None, None)
    assert said in caught.value.message


def test_the_range_holds() -> None:
    # Known input.
    with pytest.raises(click.BadParameter, match="not in the range"):
        NumberRange(0, 10).convert("10.5", None, None)
