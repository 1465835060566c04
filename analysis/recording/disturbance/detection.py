"""Which stretch of which pass holds sound that the sweep can't explain.

Conventions: a *cell* of `analysis.recording.disturbance.spectrogram` is one band in one frame,
axes (pass, band, frame); time counts from the start of the sweep.

Two passes a side show only that they differ, so each pass is judged by itself. A
cell is *quiet* where the sweep isn't yet (well above its instantaneous frequency, off
its harmonics) or where it has decayed into the floor (the quietest pass of the side is
near the floor there). A quiet cell far above the floor holds foreign sound: a slam, a
click, a cough; unless another pass holds just the same there, which then is distortion of
the sweep. Cells that are not quiet take the judgement of the nearest quiet band.

What foreign sound at time t does depends on frequency: after deconvolution it stands at
t - t(f), where t(f) is when the sweep passed f. So it disturbs the direct sound only near
f(t), and a window of length w only from f(t - w) to f(t). Everything else of the pass is
kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Float
from analysis.recording.disturbance.spectrogram import FRAME_S, Spectrogram, band_similarity
from analysis.signals.sweep import Sweep

CLEAR_BINS = 8
"""A Hann window's leakage has fallen by more than 90 dB at eight bins."""

EXCESS = 20.0
"""Foreign sound is this power ratio (13 dB) above the floor's mean. An exponential
variable passes 20 times its mean once in 5e8; rooms are less well behaved."""

QUIET = 6.0
"""A cell counts as quiet while the quietest pass of its side is below this ratio."""

UNHEARD = 0.05
"""A pass near the floor is unheard where it should stand this power ratio (13 dB) higher."""

SWEPT_S = 0.15
"""So long after its band was swept a cell is never held to have died away."""

REPEATED = 0.6
"""Cells that are this alike in two passes hold what the sweep makes; noise of eight bins
reaches 0.4 once in a hundred."""

DIRECT_S = 0.05
"""Foreign sound within this time of the arrival disturbs the direct sound."""

N_HARMONICS = 6


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Disturbance:
    """Where a pass can't be used, by third octave.

    Attributes
    ----------
    low_hz, high_hz : ndarray, shape (n_bands,)
    direct, late : ndarray of bool, shape (n_passes, n_bands)
        Disturbed for the direct sound, and for a window as long as the tail.
    foreign_sound_s : tuple of tuple of (float, float)
        For each pass, the stretches with foreign sound, in seconds from its sweep's start.
    cut : tuple of bool
        Whether the recording holds only part of a pass's sweep.
    """

    low_hz: Float
    high_hz: Float
    direct: NDArray[np.bool_]
    late: NDArray[np.bool_]
    foreign_sound_s: tuple[tuple[tuple[float, float], ...], ...]
    cut: tuple[bool, ...]


def find_unheard(
    spectrogram: Spectrogram, sweep: Sweep, sides: str, missing: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Find where a pass lacks the sweep though the side's other passes have it.

    Parameters
    ----------
    sides : str
        One letter a pass.
    missing : ndarray of bool, shape (n_passes, n_frames)
        Frames known to hold no true sound.

    Returns
    -------
    ndarray of bool, shape (n_passes, n_bands, n_frames)

    Notes
    -----
    A cell that is being swept counts as unheard where it stays near the floor, or wasn't
    recorded, though another pass of the side stands far above.
    """
    there = (spectrogram.recorded & ~missing)[:, None, :]
    low = ~there | (spectrogram.power < EXCESS * spectrogram.floor[:, None])
    high = there & (spectrogram.power > EXCESS / UNHEARD * spectrogram.floor[:, None])
    unheard = low & swept_mask(spectrogram, sweep)
    for side in set(sides):
        which = [at for at, letter in enumerate(sides) if letter == side]
        unheard[which] &= high[which].any(axis=0)
    return np.asarray(unheard)


def swept_mask(spectrogram: Spectrogram, sweep: Sweep) -> NDArray[np.bool_]:
    """Return the cells that the sweep passes through, shape (n_bands, n_frames)."""
    low_hz = np.maximum(spectrogram.low_hz, sweep.start_hz)[:, None]
    high_hz = np.minimum(spectrogram.high_hz, sweep.stop_hz)[:, None]
    begin_s, end_s = sweep.time_at(low_hz), sweep.time_at(high_hz)
    near = (spectrogram.time_s > begin_s - FRAME_S / 2) & (spectrogram.time_s < end_s + FRAME_S / 2)
    return np.asarray(near & (low_hz < high_hz))


def find_quiet(
    spectrogram: Spectrogram,
    sweep: Sweep,
    sides: str,
    unheard: NDArray[np.bool_],
    missing: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Find the cells in which the sweep explains nothing.

    Parameters
    ----------
    sides : str
        One letter a pass.
    unheard : ndarray of bool, shape (n_passes, n_bands, n_frames)
        Cells in which the sweep is lacking: such a band can't tell when its sound should
        have died away.
    missing : ndarray of bool, shape (n_passes, n_frames)
        Frames known to hold no true sound.

    Returns
    -------
    ndarray of bool, shape (n_passes, n_bands, n_frames)
    """
    ahead = ahead_of_sweep_mask(spectrogram, sweep)
    since_s = spectrogram.time_s - sweep.time_at(spectrogram.low_hz)[:, None]
    dwell_s = sweep.growth_s * np.log(spectrogram.high_hz / spectrogram.low_hz)[:, None]
    sounding = (since_s > -FRAME_S) & (since_s < dwell_s + SWEPT_S)
    quiet = np.zeros(spectrogram.power.shape, dtype=bool)
    for index, side in enumerate(sides):
        siblings = [other for other, letter in enumerate(sides) if letter == side]
        there = (spectrogram.recorded & ~missing)[siblings][:, None, :] & ~unheard[siblings].any(
            axis=-1, keepdims=True
        )
        heard = np.where(there, spectrogram.power[siblings], np.inf)
        quietest = heard.min(axis=0) / spectrogram.floor[:, None]
        gone = (quietest < QUIET) & (there.sum(axis=0) > 1) & ~sounding
        quiet[index] = ahead | gone
    return quiet


def ahead_of_sweep_mask(spectrogram: Spectrogram, sweep: Sweep) -> NDArray[np.bool_]:
    """Return the cells that the sweep and its harmonics haven't reached.

    Returns
    -------
    ndarray of bool, shape (n_bands, n_frames)
    """
    early_hz = sweep.frequency_at(spectrogram.time_s - FRAME_S)
    late_hz = sweep.frequency_at(spectrogram.time_s + FRAME_S)
    running = (spectrogram.time_s > -FRAME_S) & (spectrogram.time_s < sweep.duration_s + FRAME_S)
    clear_hz = CLEAR_BINS * spectrogram.bin_hz
    low_hz, high_hz = spectrogram.low_hz[:, None], spectrogram.high_hz[:, None]
    ahead = low_hz > late_hz * 1.1 + clear_hz
    for order in range(2, N_HARMONICS + 1):
        ahead &= (low_hz > order * late_hz + clear_hz) | (high_hz < order * early_hz - clear_hz)
    return np.asarray(ahead & running)


def find_disturbance(
    spectrogram: Spectrogram,
    sweep: Sweep,
    sides: str,
    *,
    window_s: float,
    missing_s: tuple[tuple[tuple[float, float], ...], ...],
) -> Disturbance:
    """Find which band of which pass is disturbed.

    Parameters
    ----------
    window_s : float
        Length of the impulse response that must be clean, in seconds.
    missing_s : tuple of tuple of (float, float)
        For each pass, stretches known to hold no true sound, from its sweep's start.
    """
    missing = np.zeros(spectrogram.recorded.shape, dtype=bool)
    for index, gaps in enumerate(missing_s):
        for begin_s, end_s in gaps:
            near = (spectrogram.time_s > begin_s - FRAME_S / 2) & (
                spectrogram.time_s < end_s + FRAME_S / 2
            )
            missing[index] |= near
    unheard = find_unheard(spectrogram, sweep, sides, missing)
    quiet = find_quiet(spectrogram, sweep, sides, unheard, missing)
    foreign = (
        quiet & (spectrogram.power > EXCESS * spectrogram.floor[:, None]) & ~missing[:, None, :]
    )
    foreign = _extend_to_unjudged(
        _drop_repeated(_keep_credible(foreign, spectrogram), spectrogram, sides), quiet
    )
    foreign_sound_s = tuple(
        _find_stretches_s(flags.any(axis=0), spectrogram.time_s) for flags in foreign
    )
    foreign |= missing[:, None, :]
    foreign |= unheard
    reached_s = sweep.time_at(np.sqrt(spectrogram.low_hz * spectrogram.high_hz))
    width_s = float(np.log(spectrogram.high_hz[-1] / spectrogram.low_hz[-1])) * sweep.growth_s
    after_s = spectrogram.time_s - reached_s[:, None]
    early = after_s > -(width_s / 2 + FRAME_S)
    direct = early & (after_s < DIRECT_S + width_s / 2 + FRAME_S)
    late = early & (after_s < window_s + width_s / 2 + FRAME_S)
    return Disturbance(
        low_hz=spectrogram.low_hz,
        high_hz=spectrogram.high_hz,
        direct=np.asarray((foreign & direct).any(axis=-1)),
        late=np.asarray((foreign & late).any(axis=-1)),
        foreign_sound_s=foreign_sound_s,
        cut=tuple(_is_truncated(row, spectrogram.time_s, sweep) for row in spectrogram.recorded),
    )


def _is_truncated(filled: NDArray[np.bool_], time_s: Float, sweep: Sweep) -> bool:
    """Say whether frames of the sweep weren't recorded."""
    swept = (time_s > FRAME_S) & (time_s < sweep.duration_s - FRAME_S)
    return bool((swept & ~filled).any())


def _drop_repeated(
    foreign: NDArray[np.bool_], spectrogram: Spectrogram, sides: str
) -> NDArray[np.bool_]:
    """Leave out what another pass of the side repeats: distortion of the sweep."""
    kept = foreign.copy()
    for at, frame in zip(*np.nonzero(foreign.any(axis=1)), strict=True):
        siblings = [
            other
            for other, letter in enumerate(sides)
            if letter == sides[at] and other != at and spectrogram.recorded[other, frame]
        ]
        bands = foreign[at, :, frame]
        alike = [
            band_similarity(spectrogram, at, other, frame=frame, bands=bands) for other in siblings
        ]
        kept[at, :, frame] &= max(alike, default=0.0) < REPEATED
    return kept


def _keep_credible(foreign: NDArray[np.bool_], spectrogram: Spectrogram) -> NDArray[np.bool_]:
    """Keep frames in which at least two bands, or one by far, hold foreign sound."""
    strength = np.where(foreign, spectrogram.power / spectrogram.floor[:, None], 0)
    enough = (foreign.sum(axis=1) >= 2) | (strength.max(axis=1) > EXCESS * 10)
    return np.asarray(foreign & enough[:, None, :])


def _extend_to_unjudged(foreign: NDArray[np.bool_], quiet: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Let cells that can't be judged take the judgement of the nearest quiet band."""
    n_bands = foreign.shape[1]
    spread = foreign.copy()
    for index, frame in zip(*np.nonzero(foreign.any(axis=1)), strict=True):
        judged = np.nonzero(quiet[index, :, frame])[0]
        if judged.size == 0:
            continue
        nearest = judged[np.abs(np.arange(n_bands)[:, None] - judged).argmin(axis=1)]
        unjudged = ~quiet[index, :, frame]
        spread[index, unjudged, frame] = foreign[index, nearest[unjudged], frame]
    return spread


def _find_stretches_s(flags: NDArray[np.bool_], time_s: Float) -> tuple[tuple[float, float], ...]:
    """Return runs of flagged frames as (start, stop) in seconds."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(int), [0]))))
    half_s = FRAME_S / 2
    return tuple(
        (float(time_s[first] - half_s), float(time_s[last - 1] + half_s))
        for first, last in edges.reshape(-1, 2)
    )


def clean_weights(disturbance: Disturbance, frequency_hz: Float) -> tuple[Float, Float]:
    """Return the weights with which each pass may be used at each frequency.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)

    Returns
    -------
    direct, late : ndarray, shape (n_passes, n)
        1 where clean, 0 where disturbed, with smooth edges.
    """
    # The shares live on a twelfth-octave grid; the transform's bins read from it.
    grid = np.arange(np.log2(10), np.log2(100_000), 1 / 24)
    band = np.searchsorted(np.log2(disturbance.low_hz), grid, side="right") - 1
    band = np.clip(band, 0, disturbance.low_hz.size - 1)
    octave = np.log2(np.maximum(frequency_hz, 10.0))
    shares = []
    for disturbed in (disturbance.direct, disturbance.late):
        clean = 1.0 - disturbed[:, band].astype(float)
        kernel = np.hanning(5)[1:-1] / np.hanning(5)[1:-1].sum()
        # Shrink, then smooth, so that the edge lies inside the clean range.
        shrunk = np.minimum(np.minimum(clean, np.roll(clean, 2, -1)), np.roll(clean, -2, -1))
        smooth = np.array([np.convolve(row, kernel, mode="same") for row in shrunk])
        smooth[:, [0, -1]] = clean[:, [0, -1]]
        shares.append(np.array([np.interp(octave, grid, row) for row in smooth]))
    return shares[0], shares[1]
