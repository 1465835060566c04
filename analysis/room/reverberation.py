r"""How long a room rings by Eyring's law, and what follows from the time.

Conventions: the *mean absorption* is that of all surfaces, weighted by area. All is for a
diffuse field: below the Schroeder frequency it is a rough guide, and a measured decay is
better. With the volume V, the surface S and the speed of sound c,

.. math:: T = \frac{24 \ln 10\; V}{-c\, S \ln(1 - \bar\alpha)},

which for little absorption is Sabine's :math:`24 \ln 10\; V / (c\, \bar\alpha S)`.

References
----------
H. Kuttruff, "Room Acoustics", 5th ed.: Eyring's reverberation time (from memory).
M. Schroeder and H. Kuttruff, "On frequency response curves in rooms", JASA 34,
76-80, 1962: the frequency above which modes overlap (second-hand).
"""

from __future__ import annotations

import math
from typing import Final

from analysis.room.room import Room

MOST_ABSORPTION: Final = 0.99
"""Mean absorption that is reckoned with at most: above it a reverberation has no meaning."""


def eyring_time_s(
    mean_absorption: float, *, volume_m3: float, surface_m2: float, speed_of_sound_m_s: float
) -> float:
    """Return Eyring's reverberation time in seconds.

    Infinite where nothing absorbs, 0 where everything does.
    """
    loss = math.inf if mean_absorption >= 1 else -math.log1p(-mean_absorption)
    if loss == 0:
        return math.inf
    return 24 * math.log(10) * volume_m3 / (speed_of_sound_m_s * loss * surface_m2)


def reverberation_time_s(room: Room, *, speed_of_sound_m_s: float) -> float:
    """Return the time that a room's absorption gives by Eyring's law, at most `MOST_ABSORPTION`.

    Parameters
    ----------
    room : Room
    speed_of_sound_m_s : float

    Returns
    -------
    float
        Above 0, in seconds; infinite where nothing absorbs.
    """
    return eyring_time_s(
        min(room.mean_absorption, MOST_ABSORPTION),
        volume_m3=room.volume_m3,
        surface_m2=room.surface_m2,
        speed_of_sound_m_s=speed_of_sound_m_s,
    )


def eyring_absorption(
    decay_s: float, *, volume_m3: float, surface_m2: float, speed_of_sound_m_s: float
) -> float:
    """Return the mean absorption that a reverberation time means by Eyring's law.

    Parameters
    ----------
    decay_s : float
        Above 0, in seconds.
    volume_m3, surface_m2 : float
        Of the room, whatever its shape.
    speed_of_sound_m_s : float

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        If the time isn't above 0.
    """
    if not decay_s > 0:
        msg = f"decay_s {decay_s} must lie above 0"
        raise ValueError(msg)
    exponent = 24 * math.log(10) * volume_m3 / (speed_of_sound_m_s * decay_s * surface_m2)
    return -math.expm1(-exponent)


def diffuse_power(mean_absorption: float, *, surface_m2: float) -> float:
    r"""Return the mean square of a source's diffuse sound where its direct sound is :math:`1/r`.

    Parameters
    ----------
    mean_absorption : float
        Above 0, at most 1.
    surface_m2 : float
        Of the room.

    Returns
    -------
    float
        :math:`16\pi(1 - \bar\alpha)/(\bar\alpha S)`, in 1/m² (Kuttruff).
    """
    return 16 * math.pi * (1 - mean_absorption) / (mean_absorption * surface_m2)


def schroeder_frequency_hz(room: Room, *, reverberation_time_s: float) -> float:
    r"""Return the frequency above which modes overlap, :math:`2000 \sqrt{T/V}`.

    Parameters
    ----------
    room : Room
    reverberation_time_s : float
        Measured or predicted, above 0.

    Returns
    -------
    float
        In Hz; there three modes fall within the half-power width of one.

    Raises
    ------
    ValueError
        If the time isn't above 0.
    """
    if not reverberation_time_s > 0:
        msg = f"reverberation_time_s {reverberation_time_s} must lie above 0"
        raise ValueError(msg)
    return 2000 * math.sqrt(reverberation_time_s / room.volume_m3)


def half_power_width_hz(decay_s: float) -> float:
    r"""Return the half-power width of a mode that decays by 60 dB in a time.

    Parameters
    ----------
    decay_s : float
        Above 0, in seconds.

    Returns
    -------
    float
        :math:`\delta/\pi = 3 \ln 10 / (\pi T) = 2.2/T`, in Hz (Kuttruff; derived).

    Raises
    ------
    ValueError
        If the time isn't above 0.
    """
    if not decay_s > 0:
        msg = f"decay_s {decay_s} must lie above 0"
        raise ValueError(msg)
    return 3 * math.log(10) / (math.pi * decay_s)
