"""From a recording that grows to one answer after another.

Conventions: as in `analysis.pair.nudge.sweep`. The state is a frozen record: `listen` takes it
with all that was recorded so far and returns the next one with the answers that became
possible. It finds the pattern by its rhythm, follows it as the clocks drift, and looks for
it again where it was lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.pair.nudge.answer import NudgeAnswer, answer_from_sweeps
from analysis.pair.nudge.pattern import NudgePattern
from analysis.pair.nudge.search import find_pattern
from analysis.pair.nudge.sweep import LEAD_S, HeardSweep, Recorded, hear_sweep, recorded_until_s

SEARCH_S = 2.6
"""The pattern is looked for in so much of the newest recording: two periods and a sweep."""

LEAST_SEARCH_S = 0.8
"""Three sweeps."""

SEARCH_STEP_S = 0.2
"""It is looked for again when so much more was recorded."""

LOST_AFTER = 3
"""So many sweeps without a response in a row, and the pattern is looked for again."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ListenState:
    """Where the listening stands.

    Attributes
    ----------
    lag_s : float or None
        Of the latest arrivals; None while the pattern is looked for.
    next_index : int
        Of the sweep that is waited for.
    sweeps : tuple of HeardSweep
        The latest four.
    searched_s : float
        Recorder time up to which it was looked for in vain, in seconds.
    lost_s : float
        Recorder time from which it is looked for: what went before was at another lag.
    near_lag_s : float or None
        The lag before the pattern was lost.
    """

    pattern: NudgePattern
    lag_s: float | None = None
    next_index: int = 0
    sweeps: tuple[HeardSweep, ...] = ()
    latest: NudgeAnswer | None = None
    searched_s: float = 0.0
    lost_s: float = 0.0
    near_lag_s: float | None = None


def listen(
    state: ListenState,
    samples: Recorded,
    *,
    speed_of_sound_m_s: float,
    clock_ppm: float | None = None,
) -> tuple[ListenState, tuple[NudgeAnswer, ...]]:
    """Return the state after all that was recorded, and the new answers.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The microphone from the recorder's first sample to its latest; NaN where nothing
        was delivered.
    clock_ppm : float, optional
        The clocks' drift, where it is known.

    Returns
    -------
    state : ListenState
    answers : tuple of NudgeAnswer
    """
    recorded_s = samples.size / state.pattern.sample_rate_hz
    if state.lag_s is None:
        state = _search_pattern(state, samples)
    answers = []
    while (
        state.lag_s is not None
        and recorded_until_s(state.pattern, state.next_index, state.lag_s) <= recorded_s
    ):
        state = _hear_next(state, samples, state.lag_s)
        if len(state.sweeps) >= 3:
            latest = answer_from_sweeps(
                state.sweeps[-3:],
                state.pattern,
                speed_of_sound_m_s=speed_of_sound_m_s,
                before=state.latest,
                clock_ppm=clock_ppm,
            )
            state = replace(state, latest=latest)
            answers.append(latest)
        if state.lag_s is None:
            state = _search_pattern(state, samples)
    return state, tuple(answers)


def _search_pattern(state: ListenState, samples: Recorded) -> ListenState:
    """Look for the pattern in the newest recording, if there is enough of it."""
    rate_hz = state.pattern.sample_rate_hz
    recorded_s = samples.size / rate_hz
    if recorded_s < max(state.lost_s + LEAST_SEARCH_S, state.searched_s + SEARCH_STEP_S):
        return state
    first = max(samples.size - round(SEARCH_S * rate_hz), round(state.lost_s * rate_hz), 0)
    found = find_pattern(
        np.asarray(samples[first:], dtype=float),
        state.pattern,
        first_s=first / rate_hz,
        near_lag_s=state.near_lag_s,
    )
    if found is None:
        return replace(state, searched_s=recorded_s)
    return replace(
        state,
        lag_s=found.lag_s,
        next_index=max(
            _first_sweep_within(state.pattern, found.lag_s, first / rate_hz), state.next_index
        ),
        sweeps=(),
        searched_s=recorded_s,
    )


def _first_sweep_within(pattern: NudgePattern, lag_s: float, first_s: float) -> int:
    """Return the first sweep that lies wholly in what was searched."""
    index = max(4 * math.floor((first_s - lag_s) / pattern.period_s), 0)
    while pattern.start_s(index) + lag_s < first_s:
        index += 1
    return index


def _hear_next(state: ListenState, samples: Recorded, lag_s: float) -> ListenState:
    """Hear the next sweep."""
    heard = hear_sweep(samples, state.pattern, state.next_index, expected_lag_s=lag_s)
    sweeps = (*state.sweeps, heard)[-4:]
    state = replace(state, sweeps=sweeps, next_index=state.next_index + 1)
    if heard.response is not None:
        return replace(state, lag_s=heard.arrival_s)
    missing = sweeps[-LOST_AFTER:]
    if len(missing) < LOST_AFTER or any(sweep.response is not None for sweep in missing):
        return state
    lost_s = state.pattern.start_s(missing[0].index) + lag_s - LEAD_S
    return replace(state, lag_s=None, near_lag_s=lag_s, lost_s=max(lost_s, 0.0))
