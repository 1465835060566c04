"""Playing a programme and recording it, with spoilt passes played again.

The recording is one run from before the first pass to after the last, so that all passes
share one time line. A pass that a noise has spoilt is played again in the same run, as
one more pass at the programme's end: both stay in the recording, and the reading uses what
is clean of each.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from analysis.recording.disturbance.repetition import passes_to_repeat
from analysis.signals.sweep import sweep_samples
from measure.errors import TakeError
from measure.safety.limits import admit
from measure.sound.path import Xrun
from measure.sound.stimulus import programme_samples
from measure.sound.watch import Watch, open_run

if TYPE_CHECKING:
    from analysis.basics.arrays import Float
    from analysis.signals.programme import Programme
    from measure.safety.treble_ledger import Ledger
    from measure.sound.keys import Keys
    from measure.sound.path import Float32, Run, SoundPath

MOST_REPEATS: Final = 2

LATENCY_S: Final = 0.5
"""Recorded beyond the programme's end: the way through the devices and the room."""

JUDGE_AFTER_S: Final = 0.6
"""After a pass's sweep: the strongest of its decay is in, and time to play again is left."""

NoteRepeats = Callable[["Programme", tuple[int, ...]], None]
"""Is given the longer programme and which passes are played again, before they sound."""

WRITE_EVERY_S: Final = 0.25
TELL_EVERY_S: Final = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Progress:
    """What a person is shown while it runs.

    Attributes
    ----------
    left_s : float
        Until the end.
    peak : float
        Of the microphone lately, full scale 1.
    sounding : str
        ``left``, ``right`` or nothing.
    """

    left_s: float
    peak: float
    sounding: str


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Recorded:
    """What came of a programme.

    Attributes
    ----------
    programme : Programme
        As played, with the passes that were played again.
    planned_order : str
    repeated : tuple of int
        Passes that were spoilt and played again, from 1.
    not_repeated : tuple of int
        Passes that were spoilt and left, from 1.
    xruns : tuple of Xrun
    samples : ndarray, shape (n_inputs, n)
        NaN where nothing was delivered.
    """

    programme: Programme
    planned_order: str
    repeated: tuple[int, ...]
    not_repeated: tuple[int, ...]
    xruns: tuple[Xrun, ...]
    samples: Float32


def play_and_record(
    path: SoundPath,
    programme: Programme,
    *,
    ledger: Ledger,
    keys: Keys,
    write: Callable[[Float32], None],
    show: Callable[[Progress], None],
    note_repeats: NoteRepeats = lambda _programme, _repeated: None,
    most_repeats: int = MOST_REPEATS,
) -> Recorded:
    """Play a programme and record it.

    Parameters
    ----------
    path : SoundPath
    programme : Programme
        At the path's sampling frequency.
    ledger : Ledger
        Counts what the tweeters get.
    keys : Keys
    write : callable
        Is given the recording bit by bit, each shape (n_inputs, n).
    show : callable
        Is given how far it is.
    note_repeats : callable
        Is given what is played again, before it sounds.
    most_repeats : int
        Passes that may be played again.

    Returns
    -------
    Recorded

    Raises
    ------
    MeasureError
        If it was stopped, the input clipped, or the device failed; what was recorded has
        been given to `write` before.
    """
    longest = replace(programme, order=programme.order + "L" * most_repeats)
    n_frames = round((longest.duration_s + LATENCY_S) * path.sample_rate_hz)
    samples = programme_samples(programme)
    with open_run(path, samples, ledger=ledger, n_frames=n_frames) as run:
        session = _Session(path, run, programme, ledger, write, show, note_repeats)
        try:
            session.play(Watch(path, run, keys), most_repeats)
        except BaseException:
            # What stopped it is what to tell, whether or not the rest can be written.
            with contextlib.suppress(TakeError):
                session.write_rest()
            raise
        session.write_rest()
        n_recorded = run.n_recorded
    return Recorded(
        programme=session.programme,
        planned_order=programme.order,
        repeated=tuple(session.repeated),
        not_repeated=tuple(session.left_spoilt),
        xruns=run.xruns,
        samples=run.recorded[:, :n_recorded],
    )


class _Session:
    """One programme on its way."""

    def __init__(
        self,
        path: SoundPath,
        run: Run,
        programme: Programme,
        ledger: Ledger,
        write: Callable[[Float32], None],
        show: Callable[[Progress], None],
        note_repeats: NoteRepeats,
    ) -> None:
        self.programme = programme
        self.repeated: list[int] = []
        self.left_spoilt: list[int] = []
        self._path, self._run, self._ledger = path, run, ledger
        self._write, self._show, self._note_repeats = write, show, note_repeats
        self._rate_hz = path.sample_rate_hz
        self._n_written = self._n_shown = 0

    def play(self, watch: Watch, most_repeats: int) -> None:
        """Let the programme play to its end, and play spoilt passes again."""

        def look() -> None:
            self._write_new(WRITE_EVERY_S)
            self._show_new(watch)

        while True:
            last_s = self.programme.starts_s[-1] + self.programme.sweep.duration_s
            watch.until(round((last_s + JUDGE_AFTER_S) * self._rate_hz), look)
            spoilt = [at + 1 for at in self._spoilt() if at + 1 not in self.repeated]
            room = len(self.repeated) < most_repeats
            if not (spoilt and room and self._play_again(spoilt[0])):
                self.left_spoilt = spoilt
                break
        watch.until(round((self.programme.duration_s + LATENCY_S) * self._rate_hz), look)

    def write_rest(self) -> None:
        """Write what was recorded and not yet written."""
        self._write_new(0)

    def _spoilt(self) -> tuple[int, ...]:
        """Judge what was recorded so far."""
        heard = np.nan_to_num(self._run.recorded[0, : self._run.n_recorded]).astype(np.float64)
        return passes_to_repeat(heard, self.programme)

    def _play_again(self, number: int) -> bool:
        """Put a pass at the programme's end; False if there's no time left for it."""
        side = self.programme.order[number - 1]
        longer = replace(self.programme, order=self.programme.order + side)
        signal = admit(_one_pass(longer, side), sample_rate_hz=self._rate_hz, ledger=self._ledger)
        if not self._run.append(signal, round(longer.starts_s[-1] * self._rate_hz)):
            return False
        self.programme = longer
        self.repeated.append(number)
        self._note_repeats(longer, tuple(self.repeated))
        return True

    def _write_new(self, least_s: float) -> None:
        """Write what is new, if it is enough."""
        fresh = self._run.recorded[:, self._n_written : self._run.n_recorded]
        if fresh.shape[1] > least_s * self._rate_hz:
            self._write(fresh)
            self._n_written += fresh.shape[1]

    def _show_new(self, watch: Watch) -> None:
        """Show how far it is, twice a second."""
        at = self._run.n_recorded
        if at < self._n_shown:
            return
        self._n_shown = at + round(TELL_EVERY_S * self._rate_hz)
        at_s = at / self._rate_hz
        sounding = ""
        for side, start_s in zip(self.programme.order, self.programme.starts_s, strict=True):
            if start_s <= at_s < start_s + self.programme.sweep.duration_s:
                sounding = "left" if side == "L" else "right"
        left_s = self.programme.duration_s + LATENCY_S - at_s
        self._show(Progress(left_s=left_s, peak=watch.latest_peak, sounding=sounding))


def _one_pass(programme: Programme, side: str) -> Float:
    """Return one pass alone, shape (2, n)."""
    swept = sweep_samples(programme.sweep, sample_rate_hz=programme.sample_rate_hz)
    samples = np.zeros((2, swept.size))
    samples["LR".index(side)] = swept
    return samples
