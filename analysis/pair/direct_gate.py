"""How long the direct sound stays alone: the gate for its level.

Conventions: seconds after the arrival. A gate of length t resolves from 1/t, so a longer
one tells more of the midrange; it must end before the first reflection of either side.
"""

from __future__ import annotations

import numpy as np

from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import envelope

SHORTEST_S, LONGEST_S = 0.8e-3, 1.4e-3
"""From the arrival match's gate, which is always clean enough, to just before the floor's
reflection at usual heights and distances (1.5 to 3 ms)."""

FROM_S = 0.5e-3
"""Earlier the loudspeaker's own response hides a reflection."""

REFLECTION_SHARE = 0.2
"""A bump of this share of the direct sound's envelope (14 dB below) counts."""

BEFORE_S = 0.1e-3
"""The gate ends this long before a reflection's peak, where its rise begins."""


def direct_gate_s(*sides: tuple[ImpulseResponse, float]) -> float:
    """Return the longest gate that ends before every side's first reflection.

    Parameters
    ----------
    *sides : tuple of (ImpulseResponse, float)
        A response and its arrival, in seconds on its axis.

    Returns
    -------
    float
        In seconds, from `SHORTEST_S` to `LONGEST_S`.
    """
    end_s = LONGEST_S
    for response, arrival_s in sides:
        height = envelope(response)
        after_s = response.time_s - arrival_s
        direct = float(height[np.abs(after_s) < 0.2e-3].max(initial=0.0))
        rising = np.diff(height) > 0
        peaks = 1 + np.flatnonzero(rising[:-1] & ~rising[1:])
        within = (after_s[peaks] > FROM_S) & (after_s[peaks] < LONGEST_S + BEFORE_S)
        strong = peaks[within & (height[peaks] > REFLECTION_SHARE * direct)]
        if strong.size:
            end_s = min(end_s, float(after_s[strong[0]]) - BEFORE_S)
    return max(end_s, SHORTEST_S)
