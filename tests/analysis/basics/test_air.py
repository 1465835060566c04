"""Speed of sound, against published tables and a reference library."""

from __future__ import annotations

import math

import pytest

from analysis.basics.air import air_at, cramer_speed_m_s, simple_speed_m_s

HUMIDITY_PERCENT = (10, 20, 30, 40, 50, 60, 70, 80, 90)

# Published table: engineeringtoolbox.com, "Air - Speed of Sound vs. Temperature and
# Humidity", m/s at one atmosphere.
TABLE_M_S = {
    0: (331.5, 331.5, 331.5, 331.6, 331.6, 331.6, 331.7, 331.7, 331.7),
    5: (334.5, 334.6, 334.6, 334.7, 334.7, 334.7, 334.8, 334.8, 334.9),
    10: (337.5, 337.6, 337.7, 337.7, 337.8, 337.9, 337.9, 338.0, 338.0),
    15: (340.5, 340.6, 340.7, 340.8, 340.9, 341.0, 341.1, 341.2, 341.2),
    20: (343.5, 343.6, 343.7, 343.9, 344.0, 344.1, 344.2, 344.4, 344.5),
    25: (346.4, 346.6, 346.8, 347.0, 347.1, 347.3, 347.5, 347.6, 347.8),
    30: (349.4, 349.6, 349.9, 350.1, 350.3, 350.5, 350.8, 351.0, 351.2),
}


def test_humid_air_agrees_with_a_published_table() -> None:
    """Published table of 63 cells, to its rounding (0.05 m/s) and 0.01 m/s more."""
    for temperature_c, row in TABLE_M_S.items():
        for humidity, published in zip(HUMIDITY_PERCENT, row, strict=True):
            speed = cramer_speed_m_s(temperature_c, relative_humidity_percent=humidity)
            assert speed == pytest.approx(published, abs=0.06)


@pytest.mark.parametrize(
    ("temperature_c", "published_m_s"),
    [(0, 331.4), (5, 334.4), (10, 337.4), (15, 340.4), (20, 343.3), (25, 346.3), (30, 349.1)],
)
def test_simple_law_agrees_with_a_published_table(
    temperature_c: float, published_m_s: float
) -> None:
    """Published table of dry air on the same page; it uses 20.05 sqrt(T), 0.04 % above."""
    assert simple_speed_m_s(temperature_c) == pytest.approx(published_m_s, abs=0.2)


def test_simple_law_at_its_reference() -> None:
    """Published constant: 343.2 m/s at 20 degrees (ISO 9613-1, second-hand)."""
    assert air_at(20.0).speed_of_sound_m_s == 343.2


@pytest.mark.filterwarnings("ignore")
def test_both_formulas_agree_with_a_reference_library() -> None:
    """Second method: pyfar's simple law and Cramer's formula."""
    pyfar = pytest.importorskip("pyfar")
    for temperature_c in (0.0, 12.5, 20.0, 29.0):
        simple = pyfar.constants.speed_of_sound_simple(temperature_c)
        assert simple_speed_m_s(temperature_c) == pytest.approx(float(simple), abs=1e-9)
        for humidity in (0.1, 0.45, 0.9):
            theirs = pyfar.constants.speed_of_sound_cramer(
                temperature_c, humidity, atmospheric_pressure=101325, co2_ppm=400
            )
            ours = cramer_speed_m_s(temperature_c, relative_humidity_percent=100 * humidity)
            assert ours == pytest.approx(float(theirs), abs=1e-9)


def test_sigma_follows_the_temperature() -> None:
    """Closed form: dc/dT = c / 2T, so 3 K are 1.76 m/s at 20 degrees."""
    wide = air_at(20.0, temperature_std_c=3.0)
    sharp = air_at(20.0, temperature_std_c=0.0)
    from_temperature = math.sqrt(wide.speed_of_sound_std_m_s**2 - sharp.speed_of_sound_std_m_s**2)
    assert from_temperature == pytest.approx(3 * 343.2 / (2 * 293.15), rel=1e-9)


def test_sigma_of_the_simple_law_covers_rooms_at_any_humidity() -> None:
    """Published table: 20 to 80 % relative humidity lie within two sigma of the simple law."""
    for temperature_c in (10, 20, 30):
        air = air_at(temperature_c, temperature_std_c=0.0)
        for published in TABLE_M_S[temperature_c][1:8]:
            error = abs(published - air.speed_of_sound_m_s)
            assert error <= 2 * air.speed_of_sound_std_m_s + 0.05


def test_record_says_which_formula_was_used() -> None:
    """Invariant: the formula's name follows the input."""
    assert "ISO 9613-1" in air_at(18.0).formula
    assert "Cramer" in air_at(18.0, relative_humidity_percent=40.0).formula


@pytest.mark.parametrize(
    ("keywords", "named"),
    [
        ({"temperature_c": 51.0}, "temperature_c 51.0"),
        ({"temperature_c": math.nan}, "temperature_c nan"),
        ({"temperature_c": 35.0, "relative_humidity_percent": 50.0}, "leave the humidity out"),
        ({"relative_humidity_percent": 101.0}, "relative_humidity_percent 101"),
        ({"relative_humidity_percent": 50.0, "pressure_pa": 60e3}, "pressure_pa 60000"),
        ({"temperature_std_c": -1.0}, "temperature_std_c -1"),
        ({"temperature_std_c": math.inf}, "temperature_std_c inf"),
    ],
)
def test_refuses_what_no_formula_covers(keywords: dict[str, float], named: str) -> None:
    """Known input: outside the stated ranges."""
    with pytest.raises(ValueError, match=named):
        air_at(**keywords)  # type: ignore[arg-type]
