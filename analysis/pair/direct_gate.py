r"""How long the direct sound stays alone: the gate for its level, and what an echo in it costs.

Conventions: seconds after the arrival. A gate of length t resolves from 1/t, so a longer
one tells more of the midrange; it must end before the first reflection of either side, found
in the response or predicted from the room.

References
----------
The echo's cost is the mean of :math:`|1 + a e^{-i\omega T}|^2` over log frequency, in closed
form by the cosine integral (M. Abramowitz and I. A. Stegun, "Handbook of Mathematical
Functions", chapter 5; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import sici

from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import envelope

SHORTEST_S, LONGEST_S = 0.5e-3, 1.4e-3
"""From where two octaves are left below 8 kHz, to just before the floor's reflection at usual
heights and distances (1.5 to 3 ms)."""

FROM_S = 0.5e-3
"""Earlier the loudspeaker's own response hides a reflection."""

REFLECTION_SHARE = 0.2
"""A bump of this share of the direct sound's envelope (14 dB below) counts."""

BEFORE_S = 0.1e-3
"""The gate ends this long before a reflection's peak, where its rise begins."""


def direct_gate_s(
    *sides: tuple[ImpulseResponse, float], predicted_s: Sequence[float] = ()
) -> float:
    """Return the longest gate that ends before every side's first reflection.

    Parameters
    ----------
    *sides : tuple of (ImpulseResponse, float)
        A response and its arrival, in seconds on its axis.
    predicted_s : sequence of float
        Reflections of either side that the room predicts, in seconds after the arrival.

    Returns
    -------
    float
        In seconds, from `SHORTEST_S` to `LONGEST_S`.
    """
    found_s = [at_s for side in sides for at_s, _ in find_echoes(*side)]
    first_s = min((*found_s, *predicted_s), default=math.inf)
    return min(max(first_s - BEFORE_S, SHORTEST_S), LONGEST_S)


def find_echoes(
    response: ImpulseResponse, arrival_s: float, *, least_share: float = REFLECTION_SHARE
) -> list[tuple[float, float]]:
    """Return the bumps of a response's envelope that the gate may have to avoid.

    Parameters
    ----------
    response : ImpulseResponse
    arrival_s : float
        In seconds on its axis.
    least_share : float
        Smallest bump, as a share of the direct sound's.

    Returns
    -------
    list of (float, float)
        Seconds after the arrival, and height over the direct sound's; in order of time.
    """
    height = envelope(response)
    after_s = response.time_s - arrival_s
    direct = float(height[np.abs(after_s) < 0.2e-3].max(initial=0.0))
    rising = np.diff(height) > 0
    peaks = 1 + np.flatnonzero(rising[:-1] & ~rising[1:])
    within = (after_s[peaks] > FROM_S) & (after_s[peaks] < LONGEST_S + BEFORE_S)
    strong = peaks[within & (height[peaks] > least_share * direct)]
    return [(float(after_s[at]), float(height[at]) / direct) for at in strong]


def echo_level_db(share: float, delay_s: float, band_hz: tuple[float, float]) -> float:
    r"""Return how much louder an echo makes a band's mean power over log frequency.

    Parameters
    ----------
    share : float
        The echo's pressure over the direct sound's.
    delay_s : float
        Above 0.
    band_hz : tuple of float

    Returns
    -------
    float
        In dB; below 0 where the two cancel.

    Notes
    -----
    With :math:`a` the share, :math:`T` the delay and Ci the cosine integral,

    .. math:: 10 \lg\left(1 + a^2
        + \frac{2a\,[\mathrm{Ci}(2\pi f_2 T) - \mathrm{Ci}(2\pi f_1 T)]}{\ln(f_2/f_1)}\right).

    Examples
    --------
    A side wall's echo of 0.7 after 0.6 ms, from 714 Hz to 8 kHz:

    >>> round(echo_level_db(0.7, 0.6e-3, (714.0, 8000.0)), 2)
    1.28
    """
    low, high = (sici(2 * math.pi * f * delay_s)[1] for f in band_hz)
    power = 1 + share**2 + 2 * share * (high - low) / math.log(band_hz[1] / band_hz[0])
    return float(10 * math.log10(power))
