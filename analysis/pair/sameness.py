r"""Are left and right one sound? A player set to mono, or one loudspeaker on both channels.

Conventions: a *cell* is an octave of the early or the late response; levels in dB re the left
side's own power in that cell. The delay is left minus right, the gain left over right.

No correlation tells it: in a room whose halves mirror each other, loudspeakers alike, it is 1 on
the middle line and 0.97 at 1 mm off it. What tells it is the noise. After one fitted delay and
gain, left less right of one sound holds what the repeats of one side leave between them, and no
more; of two sounds it holds what differs between the reflections' paths too, which
1 mm off the middle line grows with frequency.

The repeats' residual is half their difference (`analysis.recording.responses`), under the same
window of time; with one pass a side, the noise before it. Low octaves never count: their waves
are too long to tell 1 mm.

References
----------
The levels of ``ONE_MM_DB`` are of image-source rooms, ``benchmarks/mirrored_rooms.py``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import fft
from scipy.special import fdtri

from analysis.basics.arrays import Float
from analysis.recording.checks.check import Check
from analysis.signals.delay import estimate_delay
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import first_arrival_s

ONE_MM_DB: Final = {1000: -28.0, 2000: -22.0, 4000: -16.0, 8000: -10.0}
"""Lower edge of an octave in Hz to what 1 mm off the middle line of a mirrored room leaves in the
late response; in the early it is some 8 dB less."""

TELLING_BELOW_DB: Final = 20.0
"""One sound is claimed only where, in the late response of an octave from ``TELLING_FROM_HZ``,
the repeats' residual lies this far below what 1 mm leaves: then 0.2 mm (14 dB less) would show."""

TELLING_FROM_HZ: Final = 4000

FLOOR_BELOW_DB: Final = 30.0
"""What lies this far below what 1 mm leaves is 0.03 mm: no microphone stands so near to the
middle line, but two channels of one converter may differ by so much."""

EXCESS_DB: Final = 3.0
"""Left less right of one sound stays within this over the repeats' residual."""

CHANCE: Final = 1e-4
"""So often may chance alone pass for a difference in a cell of few values."""

LEAD_S: Final = 1e-3
PARTS_S: Final = {"early": (-LEAD_S, 5e-3), "late": (5e-3, 40e-3)}
"""Times after the arrival. Later than 40 ms the decay sinks into the noise."""

EDGE_S: Final = 1e-3
"""Over which a part fades in and out."""

TOP_FALL_OCTAVES: Final = 0.3
"""Over which the band fades out above its highest octave."""

CHECK: Final = "same_sound"

State = Literal["different", "same", "unknown"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Cell:
    """What an octave of the early or the late response says.

    Attributes
    ----------
    octave_hz : int
        Its lower edge.
    part : str
        ``early`` or ``late``.
    residual_db : float
        Left less right after the fitted delay and gain.
    repeats_db : float
        What the repeats leave between them, at least the floor.
    limit_db : float
        `residual_db` over `repeats_db` from which the two sides differ.
    """

    octave_hz: int
    part: str
    residual_db: float
    repeats_db: float
    limit_db: float

    @property
    def telling(self) -> bool:
        """Whether a fifth of a millimetre off the middle line would show here."""
        below_db = ONE_MM_DB[self.octave_hz] - TELLING_BELOW_DB
        late = self.part == "late" and self.octave_hz >= TELLING_FROM_HZ
        return late and self.repeats_db <= below_db

    @property
    def differs(self) -> bool:
        """Whether left and right differ by more than the repeats do."""
        return self.residual_db - self.repeats_db >= self.limit_db


@dataclass(frozen=True, kw_only=True, slots=True)
class Sameness:
    """Whether left and right are one sound.

    Attributes
    ----------
    state : str
        ``different``, ``same``, or ``unknown`` where noise hides what would tell.
    gain_db : float or None
        Of left over right, as fitted; None where no octave was swept whole.
    cells : tuple of Cell
        Of the octaves that were swept whole on both sides.
    """

    state: State
    gain_db: float | None
    cells: tuple[Cell, ...]


def compare_sides(left: ImpulseResponse, right: ImpulseResponse) -> Sameness:
    """Say whether two responses are one sound.

    Parameters
    ----------
    left, right : ImpulseResponse
        With one sampling frequency and time axis, of equal length.
    """
    octaves = _whole_octaves(left, right)
    if not octaves:
        return Sameness(state="unknown", gain_db=None, cells=())
    rate_hz = left.sample_rate_hz
    sounds = [_inside_band(one.samples, octaves, rate_hz) for one in (left, right)]
    at = [round((first_arrival_s(one) - one.start_s) * rate_hz) for one in (left, right)]
    delay_s, gain = _fit_delay_and_gain(sounds, at, rate_hz)
    apart = sounds[0] - gain * _delay(sounds[1], delay_s, rate_hz)
    noises = [_inside_band(one.noise, octaves, rate_hz) for one in (left, right)]
    repeats = left.n_repeats > 1 and right.n_repeats > 1
    cells = []
    for part, span_s in PARTS_S.items():
        window = _part_window(span_s, rate_hz)
        first = [place + round(span_s[0] * rate_hz) for place in at]
        signal, rest = (_power(one, first[0], window) for one in (sounds[0], apart))
        noise = _noise_power(noises[0], first[0], window, aligned=repeats)
        noise = noise + gain**2 * _noise_power(noises[1], first[1], window, aligned=repeats)
        cells += [
            _judge_cell(octave_hz, part, (signal, rest, noise), window, rate_hz)
            for octave_hz in octaves
        ]
    gain_db = 20 * math.log10(abs(gain) + 1e-15)
    return Sameness(state=_state(cells), gain_db=gain_db, cells=tuple(cells))


def _whole_octaves(left: ImpulseResponse, right: ImpulseResponse) -> list[int]:
    """Return the lower edges of the octaves that both sides hold without a gap."""
    low_hz = max(left.band_hz[0], right.band_hz[0])
    top_hz = min(left.band_hz[1], right.band_hz[1], 0.46 * left.sample_rate_hz)
    gaps_hz = (*left.gaps_hz, *right.gaps_hz)
    return [
        octave_hz
        for octave_hz in ONE_MM_DB
        if low_hz <= octave_hz
        and 2 * octave_hz <= top_hz
        and not any(gap[0] < 2 * octave_hz and gap[1] > octave_hz for gap in gaps_hz)
    ]


def _inside_band(samples: Float, octaves: list[int], rate_hz: float) -> Float:
    """Return samples without what lies outside the octaves: bass would leak into them.

    What lies above them is little but noise, and would spoil the fit.
    """
    n_fft = fft.next_fast_len(samples.size + round(0.02 * rate_hz), real=True)
    frequency_hz = np.maximum(fft.rfftfreq(n_fft, 1 / rate_hz), 1.0)
    rise = np.clip(np.log2(frequency_hz / octaves[0]) + 1, 0, 1)
    fall = np.clip(1 - np.log2(frequency_hz / (2 * octaves[-1])) / TOP_FALL_OCTAVES, 0, 1)
    weight = np.sin(np.pi / 2 * rise * fall) ** 2
    return np.asarray(fft.irfft(fft.rfft(samples, n_fft) * weight, n_fft)[: samples.size])


def _fit_delay_and_gain(sounds: list[Float], at: list[int], rate_hz: float) -> tuple[float, float]:
    """Return the delay in seconds and the signed gain that make the right most like the left."""
    n_before, n_all = round(LEAD_S * rate_hz), round((LEAD_S + PARTS_S["late"][1]) * rate_hz)
    cuts = [
        np.pad(sound, (n_before, n_all))[place : place + n_all]
        for sound, place in zip(sounds, at, strict=True)
    ]
    fits = [
        (estimate_delay(cuts[0], sign * cuts[1], sample_rate_hz=rate_hz), sign) for sign in (1, -1)
    ]
    best, sign = max(fits, key=lambda fit: fit[0].coherence)
    energies = [float(np.sum(cut**2)) for cut in cuts]
    gain = sign * best.coherence * math.sqrt(energies[0] / (energies[1] + 1e-300))
    return best.delay_s + (at[0] - at[1]) / rate_hz, gain


def _delay(samples: Float, delay_s: float, rate_hz: float) -> Float:
    """Return samples that come later by a fraction of a sample."""
    n_fft = fft.next_fast_len(samples.size + round(0.05 * rate_hz), real=True)
    omega = 2 * np.pi * fft.rfftfreq(n_fft, 1 / rate_hz)
    turned = fft.rfft(samples, n_fft) * np.exp(-1j * omega * delay_s)
    return np.asarray(fft.irfft(turned, n_fft)[: samples.size])


def _part_window(span_s: tuple[float, float], rate_hz: float) -> Float:
    """Return the window of a part of the response."""
    time_s = np.arange(round((span_s[1] - span_s[0]) * rate_hz)) / rate_hz
    edge = np.minimum(time_s, time_s[-1] - time_s) / EDGE_S
    return np.asarray(np.sin(np.pi / 2 * np.clip(edge, 0, 1)) ** 2)


def _power(samples: Float, first: int, window: Float) -> Float:
    """Return the power spectrum of a stretch under the window."""
    cut = np.zeros(window.size)
    there = samples[max(first, 0) : max(first + window.size, 0)]
    cut[max(-first, 0) : max(-first, 0) + there.size] = there
    return np.abs(fft.rfft(cut * window, 2 * window.size)) ** 2


def _noise_power(noise: Float, first: int, window: Float, *, aligned: bool) -> Float:
    """Return the noise's power spectrum: its mean over time, or more where its repeats differ."""
    places = range(0, noise.size - window.size, window.size)
    mean = np.mean([_power(noise, place, window) for place in places], axis=0)
    # Repeats differ most where the sound is: by draughts and clocks, not by noise alone.
    return np.maximum(mean, _power(noise, first, window)) if aligned else np.asarray(mean)


def _judge_cell(
    octave_hz: int,
    part: str,
    powers: tuple[Float, Float, Float],
    window: Float,
    rate_hz: float,
) -> Cell:
    """Return what left less right and the repeats leave in one cell."""
    frequency_hz = fft.rfftfreq(2 * window.size, 1 / rate_hz)
    inside = (frequency_hz >= octave_hz) & (frequency_hz < 2 * octave_hz)
    signal, rest, noise = (float(np.sum(power[inside])) + 1e-300 for power in powers)
    # Twice the band times the length: so many independent values hold the power.
    values = max(2 * octave_hz * float(np.sum(window**2)) / rate_hz, 2.0)
    by_chance = float(fdtri(values, 2 * values, 1 - CHANCE))
    return Cell(
        octave_hz=octave_hz,
        part=part,
        residual_db=10 * math.log10(rest / signal),
        repeats_db=max(10 * math.log10(noise / signal), ONE_MM_DB[octave_hz] - FLOOR_BELOW_DB),
        limit_db=max(EXCESS_DB, 10 * math.log10(by_chance)),
    )


def _state(cells: list[Cell]) -> State:
    """Return what the cells say together."""
    if any(cell.differs for cell in cells):
        return "different"
    return "same" if any(cell.telling for cell in cells) else "unknown"


def check_sameness(sameness: Sameness | None) -> Check:
    """Judge whether left and right are two sounds.

    Parameters
    ----------
    sameness : Sameness or None
        None where another check says why they aren't compared.
    """
    if sameness is None:
        return Check(name=CHECK, verdict="pass", detail="not compared: see the other checks")
    if sameness.state == "different":
        return Check(name=CHECK, verdict="pass", detail="left and right are two sounds")
    if sameness.state == "unknown":
        return Check(
            name=CHECK,
            verdict="warn",
            detail="left and right differ by no more than the noise: it can't be told whether they "
            "are two sounds; record in quiet, or play a longer sweep",
        )
    return Check(
        name=CHECK,
        verdict="fail",
        detail="after one delay and gain, left less right holds no more than a side's repeats: "
        f"nothing tells left and right from one sound, {sameness.gain_db or 0.0:+.2f} dB apart",
    )
