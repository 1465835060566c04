"""Numbers as options take them. Truth: known inputs; what a person types."""

from __future__ import annotations

import click
import pytest

from measure.terminal.number_type import CelsiusRange, Number, NumberRange


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


@pytest.mark.parametrize(("typed", "celsius"), [("68", "20.0"), ("59", "15.0"), ("122", "50.0")])
def test_a_temperature_in_fahrenheit_is_said(typed: str, celsius: str) -> None:
    # Closed form: 68 °F are 20 °C, 59 °F 15 °C, 122 °F 50 °C.
    with pytest.raises(click.BadParameter, match=rf"if it is in °F, write {celsius}$"):
        CelsiusRange().convert(typed, None, None)


@pytest.mark.parametrize("typed", ["-21", "400"])
def test_what_no_room_has_in_either_unit_is_refused(typed: str) -> None:
    # Known input: colder than -20 °C, and more than 50 °C in Fahrenheit too.
    with pytest.raises(click.BadParameter, match="not in the range"):
        CelsiusRange().convert(typed, None, None)
    assert CelsiusRange().convert("-20", None, None) == -20
    assert CelsiusRange().convert("50", None, None) == 50
