"""Whether a gain moved with the sound: automatic gain, a noise gate, a knob.

Conventions: powers are those of `analysis.recording.disturbance.spectrogram`; levels in dB.

Repeats of a pass show a gain that moved between them. Automatic gain treats all repeats
alike, but lets the noise swell in the pauses; a gate turns it down there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.recording.checks.check import Check
from analysis.recording.disturbance.detection import ahead_of_sweep_mask
from analysis.recording.disturbance.spectrogram import Spectrogram
from analysis.recording.responses import SideResponse
from analysis.signals.sweep import Sweep

LOWEST_HZ = 300.0
"""Lower bands hold few bins, and rumble."""

PART_S = 0.4
"""The noise is taken over two such parts at the end of each pause."""

DECAYED_S = 0.2
FEWEST_CELLS = 20

GAIN_STEP_DB, GAIN_FAIL_DB = 0.3, 1.5
"""Repeats of a pass are equal within some 0.01 dB unless a gain moved."""

GATE_DB = 12.0
"""Noise in the pauses this far below the noise beside the sweep means a gate."""

SWELL_DB = 1.5
"""Noise that grows by this from one part of a pause to the next, in the usual pass, and by
some of it in each, means automatic gain: stationary noise keeps within 0.2 dB, and a room
only dies away."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PauseNoise:
    """What the noise does when the sweep stops.

    Attributes
    ----------
    gate_db : float
        Noise beside the sweep over noise in the pauses; NaN if unknown.
    swell_db : tuple of float
        Growth of the noise within each pass's pause; empty if unknown.
    """

    gate_db: float
    swell_db: tuple[float, ...]


def measure_pause_noise(spectrogram: Spectrogram, sweep: Sweep) -> PauseNoise:
    """Compare the noise in the pauses with that beside the sweep, and with itself.

    Returns
    -------
    PauseNoise
        Medians over bands above `LOWEST_HZ`, where rounding of the samples is the least
        that noise is taken to be.
    """
    high = spectrogram.low_hz > LOWEST_HZ
    power = np.maximum(spectrogram.power, spectrogram.rounding_power[:, None])[:, high]
    filled = spectrogram.recorded[:, None, :]
    ahead = np.broadcast_to(ahead_of_sweep_mask(spectrogram, sweep)[high] & filled, power.shape)
    last_s = min(float(spectrogram.time_s[-1]), sweep.duration_s + 1.5)
    late = _pause_mask(spectrogram, sweep, last_s - PART_S, last_s) & filled
    early = _pause_mask(spectrogram, sweep, last_s - 2 * PART_S, last_s - PART_S) & filled
    late, early = (np.broadcast_to(part, power.shape) for part in (late, early))
    if min(power[late].size, power[ahead].size) < FEWEST_CELLS:
        return PauseNoise(gate_db=float("nan"), swell_db=())
    gate = float(np.median(power[ahead]) / np.median(power[late]))
    swells = [
        10 * float(np.log10(np.median(row[there]) / np.median(row[then])))
        for row, there, then in zip(power, late, early, strict=True)
        if min(row[there].size, row[then].size) >= FEWEST_CELLS
    ]
    return PauseNoise(gate_db=10 * float(np.log10(gate)), swell_db=tuple(swells))


def _pause_mask(
    spectrogram: Spectrogram, sweep: Sweep, begin_s: float, end_s: float
) -> NDArray[np.bool_]:
    """Return the frames of a pass's pause between two times."""
    begin_s = max(begin_s, sweep.duration_s + DECAYED_S)
    return np.asarray((spectrogram.time_s > begin_s) & (spectrogram.time_s < end_s))


def check_gain(sides: tuple[SideResponse | None, SideResponse | None], noise: PauseNoise) -> Check:
    """Judge whether a gain moved between passes, or in the pauses."""
    steps = [float(np.ptp(side.level_db)) for side in sides if side is not None]
    step_db = max(steps, default=0.0)
    advice = "switch automatic gain, noise suppression and echo cancelling off at the input"
    swell_db = float(np.median(noise.swell_db)) if noise.swell_db else 0.0
    if swell_db > SWELL_DB and min(noise.swell_db) > 0.3 * SWELL_DB:
        text = f"the noise swells by {swell_db:.1f} dB in the pauses, as automatic gain does: "
        return Check(name="automatic_gain", verdict="fail", detail=text + advice)
    if step_db > GAIN_STEP_DB:
        return Check(
            name="automatic_gain",
            verdict="warn" if step_db < GAIN_FAIL_DB else "fail",
            detail=f"the level moved by {step_db:.1f} dB between passes of one loudspeaker: "
            + advice,
        )
    if noise.gate_db > GATE_DB:
        text = f"the noise falls by {noise.gate_db:.0f} dB in the pauses, as a gate does: "
        return Check(name="automatic_gain", verdict="warn", detail=text + advice)
    return Check(
        name="automatic_gain",
        verdict="pass",
        detail=f"passes of one loudspeaker agree within {step_db:.2f} dB",
    )
