r"""The speed of sound in the air of a room.

Conventions: temperature in degrees Celsius, pressure in pascals, relative humidity
in per cent. Every speed comes with one standard deviation.

Without humidity the simple law of ISO 9613-1 is used,

.. math:: c = 343.2 \sqrt{(t + 273.15) / 293.15} \quad \mathrm{m/s},

with humidity the formula of Cramer. The simple law knows no humidity, so what a
room at 50 % would add to it is carried in its standard deviation.

References
----------
ISO 9613-1:1993, formula A.5 (second-hand: the standard itself wasn't seen).
O. Cramer, "The variation of the specific heat ratio and the speed of sound in air
with temperature, pressure, humidity, and CO2 concentration", JASA 93(5),
2510-2516, 1993: eq. 15, table III, eqs. A1 to A3 (second-hand).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

DEFAULT_TEMPERATURE_C: Final = 20.0
"""Assumed where nobody measured it. Common practice, no source."""

DEFAULT_TEMPERATURE_STD_C: Final = 3.0
"""One sigma of that guess: heated living rooms lie within 17 and 23 degrees two times
out of three. Common practice, no source."""

STANDARD_PRESSURE_PA: Final = 101325.0
"""The standard atmosphere."""

HUMIDITY_STD_PERCENT: Final = 5.0
"""One sigma of a household hygrometer. Common practice, no source."""

CARBON_DIOXIDE: Final = 0.0004
"""Mole fraction. A stuffy room at 0.001 is slower by 0.05 m/s at 20 degrees."""

CRAMER_STD: Final = 0.0003
"""Relative uncertainty that Cramer states for his formula (from memory)."""

SIMPLE_RANGE_C: Final = (-20.0, 50.0)
"""Range of the simple law."""

CRAMER_RANGE_C: Final = (0.0, 30.0)
"""Range of Cramer's formula in temperature."""

CRAMER_RANGE_PA: Final = (75e3, 102e3)
"""Range of Cramer's formula in pressure."""

_SIMPLE_LAW: Final = "ISO 9613-1 simple law, dry air"
_CRAMER: Final = "Cramer 1993, humid air"


@dataclass(frozen=True, kw_only=True, slots=True)
class Air:
    """The air of a room and the speed of sound in it.

    Attributes
    ----------
    temperature_std_c : float
        One standard deviation of the temperature, in kelvin.
    relative_humidity_percent : float or None
        None where it wasn't measured.
    speed_of_sound_std_m_s : float
        One standard deviation, from temperature, humidity and formula.
    formula : str
        Which formula gave the speed.
    """

    temperature_c: float
    temperature_std_c: float
    relative_humidity_percent: float | None
    pressure_pa: float
    speed_of_sound_m_s: float
    speed_of_sound_std_m_s: float
    formula: str


def air_at(
    temperature_c: float = DEFAULT_TEMPERATURE_C,
    *,
    temperature_std_c: float = DEFAULT_TEMPERATURE_STD_C,
    relative_humidity_percent: float | None = None,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> Air:
    """Return the air at a temperature, with its speed of sound.

    Parameters
    ----------
    temperature_c : float
        From -20 to 50 without humidity, from 0 to 30 with it.
    temperature_std_c : float
        One standard deviation of it, at least 0.
    relative_humidity_percent : float, optional
        From 0 to 100; without it the simple law is used.
    pressure_pa : float
        From 75 to 102 kPa; the simple law doesn't depend on it.

    Raises
    ------
    ValueError
        If a value lies outside the range of the formula it goes into.

    Examples
    --------
    >>> air = air_at(20.0, temperature_std_c=1.0, relative_humidity_percent=50.0)
    >>> round(air.speed_of_sound_m_s, 2), round(air.speed_of_sound_std_m_s, 2)
    (343.99, 0.64)
    """
    if not 0 <= temperature_std_c < math.inf:
        msg = f"temperature_std_c {temperature_std_c} must be a number of at least 0"
        raise ValueError(msg)
    if relative_humidity_percent is None:
        formula = _SIMPLE_LAW
        speed_m_s = simple_speed_m_s(temperature_c)
        per_kelvin = speed_m_s / (2 * (temperature_c + 273.15))
        other_std_m_s = _missing_humidity_std_m_s(temperature_c)
    else:
        formula = _CRAMER
        speed_m_s, per_kelvin, other_std_m_s = _humid_speed(
            temperature_c, relative_humidity_percent, pressure_pa
        )
    return Air(
        temperature_c=temperature_c,
        temperature_std_c=temperature_std_c,
        relative_humidity_percent=relative_humidity_percent,
        pressure_pa=pressure_pa,
        speed_of_sound_m_s=speed_m_s,
        speed_of_sound_std_m_s=math.hypot(per_kelvin * temperature_std_c, other_std_m_s),
        formula=formula,
    )


def simple_speed_m_s(temperature_c: float) -> float:
    """Return the speed of sound by the simple law of ISO 9613-1.

    Parameters
    ----------
    temperature_c : float
        From -20 to 50.

    Returns
    -------
    float
        In m/s.

    Raises
    ------
    ValueError
        If the temperature lies outside that range.

    Examples
    --------
    By definition at 20 degrees; by the square root of the temperature at freezing:

    >>> simple_speed_m_s(20.0), round(simple_speed_m_s(0.0), 2)
    (343.2, 331.29)
    """
    _require_within("temperature_c", temperature_c, SIMPLE_RANGE_C, "the simple law")
    return 343.2 * math.sqrt((temperature_c + 273.15) / 293.15)


def cramer_speed_m_s(
    temperature_c: float,
    *,
    relative_humidity_percent: float,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> float:
    """Return the speed of sound in humid air by Cramer's formula.

    Parameters
    ----------
    temperature_c : float
        From 0 to 30.
    relative_humidity_percent : float
        From 0 to 100.
    pressure_pa : float
        From 75 to 102 kPa.

    Returns
    -------
    float
        In m/s.

    Raises
    ------
    ValueError
        If a value lies outside its range.
    """
    hint = "Cramer's formula (leave the humidity out to use the simple law)"
    _require_within("temperature_c", temperature_c, CRAMER_RANGE_C, hint)
    _require_within("relative_humidity_percent", relative_humidity_percent, (0, 100), hint)
    _require_within("pressure_pa", pressure_pa, CRAMER_RANGE_PA, hint)
    return _evaluate_cramer(temperature_c, relative_humidity_percent, pressure_pa)


def _evaluate_cramer(t: float, humidity_percent: float, p: float) -> float:
    """Return Cramer's eq. 15, in his symbols: t in Celsius, p in pascals, xw and xc fractions."""
    kelvin = t + 273.15
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2
    saturation_pa = math.exp(
        1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6353.6311 / kelvin
    )
    xw = humidity_percent / 100 * enhancement * saturation_pa / p
    xc = CARBON_DIOXIDE
    return (
        331.5024
        + 0.603055 * t
        - 0.000528 * t**2
        + (51.471935 + 0.1495874 * t - 0.000782 * t**2) * xw
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * p
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * xc
        - 2.835149 * xw**2
        - 2.15e-13 * p**2
        + 29.179762 * xc**2
        + 0.000486 * xw * p * xc
    )


def _humid_speed(t: float, humidity_percent: float, p: float) -> tuple[float, float, float]:
    """Return Cramer's speed, its slope per kelvin, and the sigma that isn't temperature's."""
    speed_m_s = cramer_speed_m_s(t, relative_humidity_percent=humidity_percent, pressure_pa=p)
    per_kelvin = _evaluate_cramer(t + 0.5, humidity_percent, p) - _evaluate_cramer(
        t - 0.5, humidity_percent, p
    )
    per_percent = _evaluate_cramer(t, humidity_percent + 0.5, p) - _evaluate_cramer(
        t, humidity_percent - 0.5, p
    )
    other_std_m_s = math.hypot(per_percent * HUMIDITY_STD_PERCENT, CRAMER_STD * speed_m_s)
    return speed_m_s, per_kelvin, other_std_m_s


def _missing_humidity_std_m_s(temperature_c: float) -> float:
    """Return what 50 % humidity adds to the simple law, taken as its sigma."""
    t = min(max(temperature_c, CRAMER_RANGE_C[0]), CRAMER_RANGE_C[1])
    return abs(_evaluate_cramer(t, 50.0, STANDARD_PRESSURE_PA) - simple_speed_m_s(t))


def _require_within(name: str, value: float, limits: tuple[float, float], what: str) -> None:
    if not limits[0] <= value <= limits[1]:
        msg = f"{name} {value} must lie from {limits[0]:g} to {limits[1]:g} for {what}"
        raise ValueError(msg)
