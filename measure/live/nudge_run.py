"""The nudge loop: the pattern plays on and on, and every new answer is handed out, also as JSON.

Conventions: those of `measure.sound.path` and `analysis.pair.nudge.track`. A *stretch* is one
run of the pattern; answers of later stretches count on from those before, as if the player had
gone on.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Final

import numpy as np

from analysis.pair.nudge.listening import ListenState, listen
from analysis.pair.nudge.pattern import period_samples
from analysis.pair.nudge.track import NudgeTrack, follow, move_advice
from measure.errors import NotHeardError
from measure.sound.keys import Keys
from measure.sound.watch import Watch, open_run

if TYPE_CHECKING:
    from analysis.basics.arrays import Float
    from analysis.pair.nudge.answer import NudgeAnswer
    from analysis.pair.nudge.pattern import NudgePattern
    from measure.safety.treble_ledger import Ledger
    from measure.sound.path import Run, SoundPath

PAUSE_AFTER_S: Final = 180.0
"""Nobody slides a loudspeaker for longer without a rest, and a loop that was forgotten must
not go on sounding. Common practice, no source."""

LOOK_S: Final = 0.04
"""Between two looks at the recording."""

UNHEARD_S: Final = 8.0
"""So long without the pattern being found, and it is given up."""

CUE_DBFS: Final = -32.0
CUE_HZ: Final = (660.0, 880.0)
CUE_TONE_S: Final = 0.12
"""Two soft tones, a fourth apart: heard, and no alarm."""

_BETWEEN: Final = 8
"""Sweeps by which the counting jumps between two stretches: no three answers of the two are
taken to follow each other, and left stays even."""


class Ended(StrEnum):
    """Why a stretch ended."""

    DONE = "done"
    """Enough readings in a row within tolerance."""
    KEY = "key"
    """A key was pressed."""
    PAUSE = "pause"
    """It had sounded long enough."""
    INSIDE = "inside"
    """The difference came within tolerance, and the caller wants to know."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """One run of the pattern.

    Attributes
    ----------
    track : NudgeTrack
        With all answers so far.
    ended : Ended
    key : str
        The one that ended it, or nothing.
    n_answers : int
        Of this stretch.
    n_xruns : int
        Gaps that the driver reported.
    """

    track: NudgeTrack
    ended: Ended
    key: str
    n_answers: int
    n_xruns: int


class _KeyCatcher(Keys):
    """Keeps the key, and lets the watch see none: here a key is no abort but an end."""

    def __init__(self, keys: Keys) -> None:
        super().__init__()
        self._keys = keys
        self.stop = keys.stop
        self.run: Run | None = None
        self.key = ""

    def pressed(self) -> str:
        """Look for a key, silence the run at the first one, and return none."""
        self.key = self.key or self._keys.pressed()
        if self.key and self.run is not None:
            self.run.stop()
        return ""

    def look_at_input(self) -> None:
        """Ask for silence where the pipe on standard input has ended."""
        self._keys.look_at_input()


def nudge(
    path: SoundPath,
    pattern: NudgePattern,
    track: NudgeTrack,
    *,
    ledger: Ledger,
    keys: Keys,
    show: Callable[[NudgeTrack], None],
    longest_s: float = PAUSE_AFTER_S,
    stop_inside: bool = False,
) -> Stretch:
    """Play the pattern until the pair is matched, a key is pressed, or time is up.

    Parameters
    ----------
    path : SoundPath
    pattern : NudgePattern
        At the path's sampling frequency.
    track : NudgeTrack
        Of the stretches before, or an empty one.
    ledger : Ledger
        Counts what the tweeters get.
    keys : Keys
        Any key ends it.
    show : callable
        Is given the track after each answer.
    longest_s : float
        It sounds so long at most.
    stop_inside : bool
        End also where the difference comes within tolerance from outside.

    Returns
    -------
    Stretch

    Raises
    ------
    NotHeardError
        If the sweeps aren't found in the recording.
    MeasureError
        If the input clipped, or the device failed.
    """
    catcher = _KeyCatcher(keys)
    rate_hz = path.sample_rate_hz
    with open_run(
        path,
        period_samples(pattern),
        ledger=ledger,
        n_frames=round((longest_s + 1) * rate_hz),
        repeated_s=longest_s,
    ) as run:
        catcher.run = run
        session = _Session(run, pattern, track, show)
        watch = Watch(path, run, catcher)
        ended = _go_on(session, watch, catcher, round(longest_s * rate_hz), stop_inside)
    return Stretch(
        track=session.track,
        ended=ended,
        key=catcher.key,
        n_answers=session.n_answers,
        n_xruns=len(run.xruns),
    )


def _go_on(
    session: _Session, watch: Watch, catcher: _KeyCatcher, n_end: int, stop_inside: bool
) -> Ended:
    """Look at the recording again and again until something ends the stretch."""
    while session.n_recorded < n_end:
        watch.until(min(session.n_recorded + session.n_look, n_end))
        if catcher.key:
            return Ended.KEY
        came_inside = session.look()
        if session.track.done:
            return Ended.DONE
        if stop_inside and came_inside:
            return Ended.INSIDE
    return Ended.PAUSE


class _Session:
    """One stretch on its way."""

    def __init__(
        self,
        run: Run,
        pattern: NudgePattern,
        track: NudgeTrack,
        show: Callable[[NudgeTrack], None],
    ) -> None:
        self.track = track
        self.n_answers = 0
        self.n_look = round(LOOK_S * pattern.sample_rate_hz)
        self._run, self._pattern, self._show = run, pattern, show
        self._state = ListenState(pattern=pattern)
        self._found_s = 0.0
        self._first = _next_first(track)

    @property
    def n_recorded(self) -> int:
        """Frames delivered so far."""
        return self._run.n_recorded

    def look(self) -> bool:
        """Hand out the answers that became possible; say if one came within tolerance."""
        n_recorded = self._run.n_recorded
        self._state, answers = listen(
            self._state,
            self._run.recorded[0, :n_recorded],
            speed_of_sound_m_s=self.track.speed_of_sound_m_s,
            clock_ppm=self.track.clock_ppm,
        )
        came_inside = False
        for one in answers:
            before = bool(self.track.agreed)
            self.track = follow(self.track, self._count_on(one))
            came_inside = came_inside or (bool(self.track.agreed) and not before)
            self.n_answers += 1
            self._show(self.track)
        self._give_up_unheard(n_recorded / self._pattern.sample_rate_hz)
        return came_inside

    def _count_on(self, answer: NudgeAnswer) -> NudgeAnswer:
        """Return an answer with its index and time counted on from the stretches before."""
        return replace(
            answer,
            index=answer.index + self._first,
            time_s=answer.time_s + self._pattern.start_s(self._first),
        )

    def _give_up_unheard(self, recorded_s: float) -> None:
        """Refuse to go on where the pattern hasn't been found for long."""
        if self._state.lag_s is not None:
            self._found_s = recorded_s
        elif recorded_s - self._found_s > UNHEARD_S:
            msg = (
                f"the sweeps weren't heard for {UNHEARD_S:g} s: is the amplifier on and its volume "
                "up a little, the right microphone chosen, and the room quiet? Then begin again"
            )
            raise NotHeardError(msg)


def _next_first(track: NudgeTrack) -> int:
    """Return the index from which a stretch counts: a whole number of periods."""
    if track.latest is None:
        return 0
    return 4 * ((track.latest.index + _BETWEEN) // 4 + 1)


def play_cue(path: SoundPath, *, ledger: Ledger, keys: Keys) -> None:
    """Play two soft tones from both loudspeakers.

    Parameters
    ----------
    path : SoundPath
    ledger : Ledger
    keys : Keys
        A key pressed meanwhile counts for nothing.

    Raises
    ------
    MeasureError
        If the device failed.
    """
    samples = cue_samples(path.sample_rate_hz)
    n_frames = samples.shape[1]
    with open_run(path, samples, ledger=ledger, n_frames=n_frames) as run:
        Watch(path, run, _KeyCatcher(keys)).until(n_frames)


def cue_samples(sample_rate_hz: int) -> Float:
    """Return the cue, alike in both channels, shape (2, n)."""
    time_s = np.arange(round(CUE_TONE_S * sample_rate_hz)) / sample_rate_hz
    swell = np.sin(np.pi * time_s / CUE_TONE_S) ** 2
    tones = [swell * np.sin(2 * np.pi * frequency_hz * time_s) for frequency_hz in CUE_HZ]
    samples = 10 ** (CUE_DBFS / 20) * np.concatenate(tones)
    return np.stack((samples, samples))


def answer_json(track: NudgeTrack) -> str:
    """Return the latest answer as a line of JSON; docs/nudge.md has its keys.

    Parameters
    ----------
    track : NudgeTrack
        With an answer.

    Returns
    -------
    str
    """
    latest = track.latest
    assert latest is not None
    sure = latest.doubt is None and latest.difference_m is not None
    todo = move_advice(latest.difference_m or 0.0, move=track.move, tolerance_m=track.tolerance_m)
    document = {
        "schema": 1,
        "command": "nudge",
        "sweep": latest.index,
        "time_s": round(latest.time_s, 4),
        "left_minus_right_mm": _mm(latest.difference_m) if sure else None,
        "std_mm": _mm(latest.std_m) if sure else None,
        "in_room_std_mm": _mm(latest.in_room_std_m) if sure else None,
        "level_left_minus_right_db": _rounded(latest.level_db),
        "level_std_db": _rounded(latest.level_std_db),
        "unsure": None if latest.doubt is None else latest.doubt.value,
        "unsure_side": latest.doubt_side,
        "moving": track.mover,
        "move": track.move,
        "move_mm": _mm(todo.distance_m) if sure else None,
        "toward_seat": todo.toward_seat if sure else None,
        "within_tolerance": not todo.needed if sure else None,
        "n_agreed": len(track.agreed),
        "done": track.done,
    }
    return json.dumps(document, allow_nan=False)


def _mm(value_m: float | None) -> float | None:
    """Return millimetres to a micrometre."""
    return _rounded(None if value_m is None else 1e3 * value_m)


def _rounded(value: float | None) -> float | None:
    """Return a number to three decimals."""
    return None if value is None else round(value, 3)
