"""A loop-back: the input hears the output, and no room is in between.

Conventions: levels in dB, of what comes later than 5 ms after the arrival over what comes before.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from scipy import fft

from analysis.basics.arrays import Float
from analysis.recording.checks.check import Check
from analysis.recording.responses import SideResponse
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import first_arrival_s

LEAST_DECAY_DB: Final = -45.0
"""Every room leaves more after 5 ms: a wall of 0.99 absorption 4 m behind reflects -29 dB, and
simulated rooms of 0.8 leave -20 dB. A converter's filters ring within 1 ms."""

BEFORE_S: Final = 1e-3
EARLY_S: Final = 5e-3
UNTIL_S: Final = 40e-3

FROM_HZ: Final = 1000.0
"""Below it a converter's high-pass rings for longer."""

Sides = tuple[SideResponse | None, SideResponse | None]


def late_over_early_db(response: ImpulseResponse) -> float | None:
    """Return what comes after 5 ms over what comes before, above `FROM_HZ` and less the noise.

    Returns
    -------
    float or None
        -inf where nothing is left beyond noise; None where the noise alone is more than
        `LEAST_DECAY_DB`, so that no decay could be told from it.
    """
    rate_hz = response.sample_rate_hz
    at = round((first_arrival_s(response) - response.start_s) * rate_hz)
    before, split, until = (
        max(at + round(span_s * rate_hz), 0) for span_s in (-BEFORE_S, EARLY_S, UNTIL_S)
    )
    energy = _above_bass(response.samples, response) ** 2
    noise = float(np.mean(_above_bass(response.noise, response) ** 2)) * (until - split)
    early, late = float(np.sum(energy[before:split])), float(np.sum(energy[split:until]))
    if early <= 0 or 10 * math.log10((noise + 1e-300) / early) > LEAST_DECAY_DB:
        return None
    left = late - noise
    return 10 * math.log10(left / early) if left > 0 else -math.inf


def _above_bass(samples: Float, response: ImpulseResponse) -> Float:
    """Return samples of the swept band above `FROM_HZ`, with edges that ring for a millisecond."""
    rate_hz = response.sample_rate_hz
    n_fft = fft.next_fast_len(samples.size + round(0.02 * rate_hz), real=True)
    frequency_hz = np.maximum(fft.rfftfreq(n_fft, 1 / rate_hz), 1.0)
    # A gap's edge rings as long as a room: keep below the lowest.
    gaps_hz = [low_hz for low_hz, high_hz in response.gaps_hz if high_hz > FROM_HZ]
    top_hz = max(min(response.band_hz[1], 0.46 * rate_hz, *gaps_hz), FROM_HZ)
    rise = np.clip(np.log2(frequency_hz / FROM_HZ) + 1, 0, 1)
    fall = np.clip(2 * np.log2(top_hz / frequency_hz), 0, 1)
    weight = np.sin(np.pi / 2 * rise * fall) ** 2
    return np.asarray(fft.irfft(fft.rfft(samples, n_fft) * weight, n_fft)[: samples.size])


def check_loop_back(sides: Sides) -> Check:
    """Judge whether a room is heard on any side."""
    found = [late_over_early_db(side.response) for side in sides if side is not None]
    told = [value for value in found if value is not None]
    if told and len(told) == len(found) and max(told) < LEAST_DECAY_DB:
        return Check(
            name="loop_back",
            verdict="fail",
            detail="no room is heard, no decay after 5 ms: the input hears the output, not a "
            "microphone; choose the microphone's input (`apexline devices` lists them)",
        )
    if not told:
        return Check(
            name="loop_back", verdict="pass", detail="noise hides the decay after 5 ms: not judged"
        )
    return Check(name="loop_back", verdict="pass", detail="the room's decay is heard")
