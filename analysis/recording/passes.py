"""Where in a recording each pass of the programme lies.

Conventions: times are recorder seconds from the first sample of the recording and
may be negative where the recording began after the pass did; a *hit* is the moment
at which a pass's sweep would have started for its strongest arrival.

The search is a matched filter whose reference is whitened (phase only), over the
middle of the swept band, on a spectrum that is cut off at that band's end, which
also brings the sampling frequency down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Float
from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep

SEARCH_BAND_HZ = (150.0, 4000.0)
"""Every loudspeaker plays it, rooms are quieter there than below, and 200 ppm of clock
difference smear it by less than a millisecond."""

LEAST_CREST = 12.0
"""Peak over the median of the filter's output, in sigma. The largest of a million
Gaussian samples stands at 5.3 sigma; the rest is margin for noise that isn't Gaussian."""

LEAST_COMPACTNESS = 0.05
"""Least share of the energy within 0.1 s that must lie within the best 10 ms, where noise
that fills it has 0.05: most rooms keep 0.3 to 0.9 there, a very reverberant one 0.15.
Whether it is the programme's sweep is judged by `analysis.recording.band_arrivals`."""

SPACING_SLACK_S = 0.05
"""How far a pass may lie from its place before the spacing counts as broken."""

BLOCK_SLACK_S = 0.5
"""The same where a block was lost or repeated between passes."""

MAX_COMBINATIONS = 20_000


@dataclass(frozen=True, kw_only=True, slots=True)
class Hit:
    """One compact arrival of the sweep.

    Attributes
    ----------
    start_s : float
        When the sweep would have started, in recorder seconds.
    crest : float
        Height over the background, in sigma.
    compactness : float
        Share of the energy near it that lies within 10 ms, 0 to 1.
    """

    start_s: float
    crest: float
    compactness: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PassAssignment:
    """Which hit is which pass.

    Attributes
    ----------
    passes : tuple of (int, Hit)
        Index of the pass in the programme's order, and its hit.
    origin_s : float
        Recorder time of the programme's first sample, as heard, in seconds.
    sides_certain : bool
        Whether every assignment that fits as well gives the same sides.
    """

    passes: tuple[tuple[int, Hit], ...]
    origin_s: float
    sides_certain: bool


def sweep_phase(sweep: Sweep, frequency_hz: Float) -> Float:
    r"""Return the phase of the sweep's spectrum, in radians.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Inside the swept band, above 0.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    Stationary phase: the sweep passes f at :math:`t = L \ln(f/f_1)`, so
    :math:`2\pi L (f - f_1) - 2\pi f L \ln(f/f_1) - \pi/4` (A. Novak, P. Lotton, L. Simon,
    "Synchronized swept-sine", J. Audio Eng. Soc. 63(10), 2015, for the form).

    Examples
    --------
    Its slope is the group delay: the sweep passes 200 Hz an octave's time after 100 Hz.

    >>> sweep = Sweep(start_hz=100.0, stop_hz=1600.0, duration_s=4.0, level_dbfs=-6.0)
    >>> phase = sweep_phase(sweep, np.array([199.999, 200.001]))
    >>> round(float(-np.diff(phase)[0] / (2 * np.pi * 0.002)), 6)
    1.0
    """
    growth = 2 * np.pi * sweep.growth_s
    octave = np.log(frequency_hz / sweep.start_hz)
    return np.asarray(growth * (frequency_hz * (1 - octave) - sweep.start_hz) - np.pi / 4)


def matched_filter_envelope(samples: Float, programme: Programme) -> tuple[Float, float]:
    """Return the whitened matched filter's output and its sampling frequency.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel at the programme's sampling frequency.

    Returns
    -------
    output : ndarray, shape (m,)
        Sample ``i`` belongs to a sweep that starts at ``i / rate - duration``.
    rate_hz : float
    """
    sweep, rate_hz = programme.sweep, programme.sample_rate_hz
    n_lead = math.ceil(sweep.duration_s * rate_hz)
    n_fft = fft.next_fast_len(samples.size + n_lead, real=True)
    low_hz = max(SEARCH_BAND_HZ[0], sweep.start_hz)
    high_hz = min(SEARCH_BAND_HZ[1], sweep.stop_hz)
    if high_hz < 2 * low_hz:
        low_hz, high_hz = sweep.start_hz, sweep.stop_hz
    first, last = (int(edge_hz * n_fft / rate_hz) for edge_hz in (low_hz, high_hz))
    padded = np.zeros(n_fft, dtype=np.float32)
    padded[n_lead : n_lead + samples.size] = samples
    spectrum = fft.rfft(padded)[first:last]
    spectrum *= np.exp(-1j * sweep_phase(sweep, np.arange(first, last) * rate_hz / n_fft))
    spectrum *= np.sin(np.linspace(0, np.pi, last - first, dtype=np.float32)) ** 2
    n_out = fft.next_fast_len(2 * last)
    shifted = np.zeros(n_out, dtype=np.complex64)
    shifted[: last - first] = spectrum
    # One-sided band moved to zero: the magnitude is the envelope, free of the carrier.
    return np.abs(fft.ifft(shifted)), n_out * rate_hz / n_fft


def find_hits(samples: Float, programme: Programme) -> tuple[Hit, ...]:
    """Find the compact arrivals of the programme's sweep.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel at the programme's sampling frequency.

    Returns
    -------
    tuple of Hit
        In order of time; a sweep much like it, or another sound, may be among them.
    """
    output, rate_hz = matched_filter_envelope(samples, programme)
    duration_s = programme.sweep.duration_s
    n_valid = int((samples.size / programme.sample_rate_hz + duration_s) * rate_hz)
    output = output[: min(n_valid, output.size)]
    # Median of a Rayleigh-distributed envelope is 1.18 sigma.
    sigma = float(np.median(output)) / 1.1774 + 1e-30
    apart = int(0.5 * (duration_s + programme.tail_s) * rate_hz)
    remaining = output.copy()
    hits = []
    for _ in range(2 * len(programme.order) + 2):
        at = int(np.argmax(remaining))
        crest = float(remaining[at]) / sigma
        if crest < LEAST_CREST:
            break
        compactness = _compactness(output, at, rate_hz, sigma)
        if compactness >= LEAST_COMPACTNESS:
            hits.append(
                Hit(start_s=at / rate_hz - duration_s, crest=crest, compactness=compactness)
            )
        remaining[max(0, at - apart) : at + apart] = 0
    return tuple(sorted(_drop_weak(hits), key=lambda hit: hit.start_s))


def _compactness(output: Float, at: int, rate_hz: float, sigma: float) -> float:
    """Return the share of the energy within 0.1 s of `at` that the best 10 ms hold."""
    near = output[max(0, at - int(0.1 * rate_hz)) : at + int(0.1 * rate_hz)].astype(float) ** 2
    near = np.maximum(near - 2 * sigma**2, 0)
    width = max(1, int(0.01 * rate_hz))
    sums = np.convolve(near, np.ones(width), mode="valid")
    return float(sums.max() / max(near.sum(), 1e-30)) if sums.size else 0.0


def _drop_weak(hits: list[Hit]) -> list[Hit]:
    """Leave out hits more than 40 dB below the best: crosstalk and leftovers."""
    best = max((hit.crest for hit in hits), default=0.0)
    return [hit for hit in hits if hit.crest > 0.01 * best]


def assign_hits(
    hits: tuple[Hit, ...], programme: Programme, *, recorded_s: float
) -> PassAssignment | None:
    """Say which hit is which pass, from the spacing and from what should have been heard.

    Parameters
    ----------
    hits : tuple of Hit
        In order of time, as `find_hits` gives them.
    recorded_s : float
        Length of the recording, in seconds.

    Returns
    -------
    PassAssignment or None
        None if there are no hits.

    Notes
    -----
    The assignment with the most hits at the programme's spacing is taken; one that needs
    the wider slack of a lost block only if it holds more hits than any other. Among equals
    those rank first that leave the fewest passes unheard that lie wholly inside the
    recording, then those with the smallest error of spacing.
    """
    best: list[_Candidate] = []
    for slack_s in (SPACING_SLACK_S, BLOCK_SLACK_S):
        for n_used in range(min(len(hits), len(programme.order)), 0, -1):
            if best and n_used <= len(best[0][1]):
                break
            fitting = _list_candidates(hits, n_used, programme, recorded_s, slack_s)
            if fitting:
                best = sorted(fitting, key=lambda item: item[0])
                break
    return _choose(best, programme) if best else None


_Candidate = tuple[tuple[int, float], tuple[tuple[int, Hit], ...], float]


def _list_candidates(
    hits: tuple[Hit, ...],
    n_used: int,
    programme: Programme,
    recorded_s: float,
    slack_s: float,
) -> list[_Candidate]:
    """List assignments of `n_used` hits as ((passes missed, spacing error), passes, origin)."""
    starts_s = np.array(programme.starts_s)
    found: list[_Candidate] = []
    n_tried = 0
    for chosen in combinations(hits, n_used):
        at_s = np.array([hit.start_s for hit in chosen])
        for which in combinations(range(starts_s.size), n_used):
            n_tried += 1
            if n_tried > MAX_COMBINATIONS:
                return found
            offsets_s = at_s - starts_s[list(which)]
            error_s = float(np.ptp(offsets_s))
            if error_s > slack_s:
                continue
            origin_s = float(np.median(offsets_s))
            begin_s = starts_s + origin_s
            heard = (begin_s >= 0) & (begin_s + programme.sweep.duration_s <= recorded_s)
            missed = int(heard.sum() - heard[list(which)].sum())
            found.append(((missed, error_s), tuple(zip(which, chosen, strict=True)), origin_s))
    return found


def _choose(ranked: list[_Candidate], programme: Programme) -> PassAssignment:
    """Return the best assignment, and whether its rivals agree on the sides."""
    (missed, error_s), passes, origin_s = ranked[0]
    sides = [programme.order[index] for index, _ in passes]
    certain = all(
        [programme.order[index] for index, _ in rival] == sides
        for (rival_missed, rival_error_s), rival, _ in ranked[1:]
        if rival_missed == missed and rival_error_s < max(error_s, SPACING_SLACK_S)
    )
    return PassAssignment(passes=passes, origin_s=origin_s, sides_certain=certain)
