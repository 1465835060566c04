"""Numbers as a person reads them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.report import format as fmt


@pytest.mark.parametrize(
    ("value", "std", "text"),
    [
        (0.827, 0.119, "0.83 ± 0.12 mm"),
        (0.827, 0.367, "0.8 ± 0.4 mm"),
        (7.31, 1.05, "7.3 ± 1.1 mm"),
        (7.31, 0.97, "7.3 ± 1.0 mm"),
        (412.3, 12.3, "412 ± 12 mm"),
        (44.27, 0.0525, "44.27 ± 0.05 mm"),
        (1.234, 0.0001, "1.23 ± 0.01 mm"),
        (3.14159, None, "3.1 mm"),
    ],
)
def test_digits_follow_the_uncertainty(value: float, std: float | None, text: str) -> None:
    # Published table: the first two are the examples of the Particle Data Group's review
    # (from memory); the rest follow its rule, with at most two decimals.
    assert fmt.with_std(value, std, "mm") == text


def test_metres_leave_as_millimetres() -> None:
    # Closed form: a thousand to one.
    assert fmt.mm(0.0073, 0.0011) == "7.3 ± 1.1 mm"
    assert fmt.mm(-0.0073, 0.0011, sign=True) == "−7.3 ± 1.1 mm"
    assert fmt.move_mm(-0.0073) == "7 mm"


def test_zero_has_no_sign() -> None:
    # Invariant: nothing is neither left nor right.
    assert fmt.number(-0.04, places=1, sign=True) == "0.0"
    assert fmt.number(-0.06, places=1, sign=True) == "−0.1"


@given(st.floats(-1e4, 1e4), st.floats(1e-6, 1e3))
def test_the_printed_value_lies_within_the_printed_step(value: float, std: float) -> None:
    # Invariant: rounding moves a value by at most half of its last digit.
    said = fmt.with_std(value, std, "mm").split(" ")[0].replace(fmt.MINUS, "-")
    assert abs(float(said) - value) <= 0.5 * 10.0 ** -fmt.decimals(std) + 1e-9


@pytest.mark.parametrize(
    ("band_hz", "text"),
    [((20, 50), "20 to 50 Hz"), ((200, 8000), "200 Hz to 8 kHz"), ((1250, 8000), "1.25 to 8 kHz")],
)
def test_bands(band_hz: tuple[float, float], text: str) -> None:
    # Known input.
    assert fmt.band(band_hz) == text


def test_levels_have_tenths() -> None:
    # Known input: an uncertainty that can't be seen at a tenth isn't written.
    assert fmt.db(-3.04, 0.01, sign=True) == "−3.0 dB"
    assert fmt.db(3.04, 0.42) == "3.0 ± 0.4 dB"


def test_frequencies() -> None:
    # Known input.
    assert fmt.hz(63.67) == "64 Hz"
    assert fmt.hz(63.67, 0.02) == "63.7 ± 0.1 Hz"
    assert fmt.hz(63.67, 2.0) == "63.7 ± 2.0 Hz"
    assert fmt.hz(2500) == "2.5 kHz"


@given(st.text(alphabet="abc ±−", max_size=400), st.integers(0, 10), st.integers(0, 6))
def test_wrapped_lines_fit(text: str, indent: int, hanging: int) -> None:
    # Invariant: no line is wider than the terminal allows.
    spaced = " ".join(word[:40] for word in text.split())
    assert all(
        len(line) <= fmt.WIDTH for line in fmt.wrapped(spaced, indent=indent, hanging=hanging)
    )


def test_tables_line_up() -> None:
    # Known input.
    rows = [("a", "1", "x"), ("bbb", "22", "yy")]
    assert fmt.table(rows, right=(1,)) == ["a     1  x", "bbb  22  yy"]
    assert fmt.table([]) == []
