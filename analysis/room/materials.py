r"""How much sound the usual surfaces of a room swallow.

Conventions: the absorption is the share of the energy that a surface keeps, 0 to 1, for
sound from all directions, in the octave of 125 Hz, the lowest one that is tabulated.
Below it figures are rare and depend on how a wall is built; a fitted damping
(`analysis.placement.fit.room_fit`) is better than any table.

References
----------
M. Vorlaender, "Auralization", Springer, 2008, appendix: absorption coefficients
(second-hand: the values as the library pyroomacoustics 0.10 lists them, octave 125 Hz).
"""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import Final

MATERIALS: Final = MappingProxyType(
    {
        "hard": 0.02,
        "brick": 0.01,
        "concrete": 0.01,
        "plasterboard": 0.15,
        "wooden lining": 0.27,
        "thin plywood": 0.42,
        "glass": 0.10,
        "double glazing": 0.10,
        "wooden door": 0.14,
        "wooden floor": 0.10,
        "linoleum": 0.02,
        "thin carpet": 0.02,
        "thick carpet": 0.11,
        "curtain": 0.06,
        "heavy curtain": 0.30,
        "plasterboard ceiling": 0.20,
        "bookshelf": 0.30,
        "opening": 0.80,
    }
)
"""Absorption by name. `bookshelf` and `opening` are common practice, no source: a doorway to
another room sends some of the bass back, so it isn't 1, and as a surface it is an
approximation."""


def absorption_of(value: float | str, *, name: str) -> float:
    """Return the absorption that a number or a material's name means.

    Parameters
    ----------
    value : float or str
    name : str
        Of the surface, for the error.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        If the number lies outside, or the material isn't known.
    """
    if isinstance(value, str):
        if value not in MATERIALS:
            msg = f"absorption of {name}: {value!r} isn't known; know {', '.join(MATERIALS)}"
            raise ValueError(msg)
        return MATERIALS[value]
    if not 0 <= value <= 1:
        msg = f"absorption of {name} {value} must lie from 0 to 1"
        raise ValueError(msg)
    return value


def admittance(absorption: float) -> float:
    r"""Return the specific admittance of a surface of a given absorption.

    Parameters
    ----------
    absorption : float
        0 to 1.

    Returns
    -------
    float
        Real; at most that of an absorption of 0.99, above which a mode has no meaning.

    Notes
    -----
    :math:`\beta = -\ln(1 - \alpha) / 8`. A locally reacting surface of small real admittance
    absorbs :math:`8\beta` of sound from all directions (Kuttruff, sec. 2.5, from memory), and
    the logarithm is Eyring's, so that oblique modes decay as Eyring's formula says.
    """
    return -math.log1p(-min(absorption, 0.99)) / 8
