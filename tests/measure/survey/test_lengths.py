"""Lengths as people type them, against the definitions of the units."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.survey.lengths import METRES, Unit, parse_length, say_length


@pytest.mark.parametrize(
    ("given_text", "metres"),
    [
        ("812 mm", 0.812),
        ("812mm", 0.812),
        ("81.2 cm", 0.812),
        ("81,2 cm", 0.812),
        ("0.812 m", 0.812),
        ("0,812 m", 0.812),
        ("812", 0.812),
        (812, 0.812),
        (812.5, 0.8125),
        ("32 in", 0.8128),
        ('32"', 0.8128),
        ('32 1/2"', 0.8255),
        ("1/2 in", 0.0127),
        ("5'", 1.524),
        ("5 ft", 1.524),
        ("5' 3\"", 1.6002),
        ("5' 3 1/2\"", 1.6129),
        ("5 ft 3 1/2 in", 1.6129),
        ("5′ 3½″", 1.6129),
        ("5'-3 1/2\"", 1.6129),
    ],
)
def test_what_people_type(given_text: float | str, metres: float) -> None:
    # Closed form: the international foot is 0.3048 m, the inch 25.4 mm.
    assert parse_length(given_text, unit="mm") == pytest.approx(metres, abs=1e-12)


def test_bare_numbers_are_in_the_files_unit() -> None:
    # Closed form: the units' definitions.
    assert parse_length(32, unit="in") == pytest.approx(0.8128)
    assert parse_length("32 1/2", unit="in") == pytest.approx(0.8255)
    assert parse_length(81.2, unit="cm") == pytest.approx(0.812)
    assert parse_length("0.812", unit="m") == pytest.approx(0.812)


@given(value_m=st.floats(0.001, 20), unit=st.sampled_from(sorted(METRES)))
def test_what_is_said_is_understood(value_m: float, unit: Unit) -> None:
    # Invariant: a length survives being worded and read back, to the digits worded.
    text = say_length(value_m, unit=unit, places=6)
    assert parse_length(text, unit="mm") == pytest.approx(value_m, abs=1e-6)


@pytest.mark.parametrize(
    "wrong",
    ["", "abc", "-3 mm", "1 2 mm", "12 1/0 in", "1,234 mm", "5 yd", True, 1e9, float("nan")],
)
def test_what_is_no_length_is_refused(wrong: float | str) -> None:
    with pytest.raises(ValueError, match=r"length|comma"):
        parse_length(wrong, unit="mm")
