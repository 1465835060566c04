"""Watching a run: it stops at once on a key, on a clipped input, on a storm of gaps.

Everything that plays goes through `open_run`, so that nothing is ever left sounding and no two
sound at once. The order is fixed: the lock, the limits and the tweeters' account, the start; and
whatever ends the block, the output fades out, the device is closed, and the lock let go.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from measure.errors import DeviceLostError, TakeError
from measure.safety.limits import admit
from measure.sound.path import STOP_WITHIN_S
from measure.sound.sound_lock import hold_sound

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from measure.safety.treble_ledger import Ledger
    from measure.sound.keys import Keys
    from measure.sound.path import Float32, Run, SoundPath

POLL_S: Final = 0.01
"""Between two looks at the keyboard and the input: a fifth of the time to silence."""

CLIPPED: Final = 0.999
"""Full scale less the rounding of 16 bits."""

FEWEST_CLIPPED: Final = 3
"""Samples at full scale in one look: a lone one may be a true peak."""

SILENT_S: Final = 1.0
"""A microphone is never as quiet as zero for so long."""

STORM_XRUNS: Final = 8
"""Within `STORM_S`: the machine can't keep up."""

STORM_S: Final = 1.0

BY_KEY: Final = "stopped by a key"


@contextlib.contextmanager
def open_run(
    path: SoundPath,
    samples: ArrayLike,
    *,
    ledger: Ledger,
    n_frames: int,
    repeated_s: float | None = None,
) -> Iterator[Run]:
    """Play and record inside a ``with`` block; silence and a closed device after it.

    Parameters
    ----------
    path : SoundPath
    samples : array_like, shape (2, n)
        Left and right, full scale 1.
    ledger : Ledger
        Counts what the tweeters get.
    n_frames : int
        Room for input.
    repeated_s : float, optional
        Play the samples again and again for so many seconds, instead of once.

    Yields
    ------
    Run

    Raises
    ------
    SoundDeviceError
        If another process makes sound, or the device can't be used.
    UnsafeError
        If the samples break a limit, or the tweeters must cool first.
    """
    with hold_sound(path):
        signal = admit(
            samples, sample_rate_hz=path.sample_rate_hz, ledger=ledger, repeated_s=repeated_s
        )
        run = path.start(signal, n_frames=n_frames, repeat=repeated_s is not None)
        try:
            yield run
        finally:
            try:
                run.stop()
                with contextlib.suppress(DeviceLostError):
                    path.wait(STOP_WITHIN_S)
            finally:
                # Also where Ctrl-C comes within the fade.
                run.close()
            # What never sounded didn't warm a tweeter.
            signal.admission.give_back(played_s=run.n_played / path.sample_rate_hz)


def stop_if_asked(keys: Keys, *, by_key: str = BY_KEY) -> None:
    """Look at everything that may ask for silence.

    Parameters
    ----------
    keys : Keys
    by_key : str
        The reason that a key gives.

    Raises
    ------
    StoppedError
        With the first reason that was given.
    """
    if keys.pressed():
        keys.stop.ask(by_key)
    keys.look_at_input()
    keys.stop.raise_if_asked()


def wait_unless_stopped(path: SoundPath, keys: Keys, seconds: int) -> None:
    """Wait before something sounds, so that a person can walk away.

    Raises
    ------
    StoppedError
        If a key is pressed, or something else asks for it.
    """
    for _ in range(10 * seconds):
        path.wait(0.1)
        stop_if_asked(keys, by_key=f"{BY_KEY} before the sweep")


class Watch:
    """Looks after one run.

    Parameters
    ----------
    path : SoundPath
    run : Run
    keys : Keys
    """

    def __init__(self, path: SoundPath, run: Run, keys: Keys) -> None:
        self._path, self._run, self._keys = path, run, keys
        self._n_seen = self._n_zeros = 0
        self.latest_peak = 0.0
        """Of the microphone since the last look; full scale is 1."""

    def until(self, n_frames: int, look: Callable[[], None] | None = None) -> None:
        """Let the run go on until so many frames were delivered.

        Parameters
        ----------
        n_frames : int
            Counted from the run's first.
        look : callable, optional
            Called at every look, between two waits.

        Raises
        ------
        StoppedError
            If a key was pressed, or something else asked for it.
        TakeError
            If the input clipped, or the driver reported gap upon gap.
        DeviceLostError
            If the device stopped delivering.
        """
        # What came while nothing sounded.
        self._keys.stop.raise_if_asked()
        while self._run.n_recorded < n_frames:
            self._path.wait(POLL_S)
            stop_if_asked(self._keys)
            self._listen()
            self._count_xruns()
            if look is not None:
                look()

    def fresh(self, since: int) -> Float32:
        """Return what was delivered since a frame, shape (n_inputs, n)."""
        return self._run.recorded[:, since : self._run.n_recorded]

    def _listen(self) -> None:
        """Look at the newest input."""
        heard = np.abs(np.nan_to_num(self.fresh(self._n_seen)[0]))
        n_clipped = int((heard >= CLIPPED).sum())
        if n_clipped >= FEWEST_CLIPPED:
            at_s = self._n_seen / self._path.sample_rate_hz
            msg = (
                f"the microphone's input clipped at {at_s:.1f} s, so the sound was stopped: turn "
                "the microphone's gain down by 10 dB or so (not the amplifier), and begin again"
            )
            raise TakeError(msg)
        if heard.size:
            self.latest_peak = float(heard.max())
            self._count_zeros(heard)
        self._n_seen += heard.size

    def _count_zeros(self, heard: Float32) -> None:
        """Stop where the input has fallen silent."""
        sounding = np.flatnonzero(heard)
        trailing = heard.size - int(sounding[-1]) - 1 if sounding.size else heard.size
        self._n_zeros = trailing if sounding.size else self._n_zeros + trailing
        if self._n_zeros >= SILENT_S * self._path.sample_rate_hz:
            since_s = (self._n_seen + heard.size - self._n_zeros) / self._path.sample_rate_hz
            msg = (
                f"{self._path.name} records digital silence since {since_s:.1f} s: the microphone "
                "is muted, unplugged, on another input, or this program has no leave to record; "
                "see `apexline devices`"
            )
            raise TakeError(msg)

    def _count_xruns(self) -> None:
        """Stop in a storm of gaps."""
        xruns = self._run.xruns[-STORM_XRUNS:]
        if len(xruns) < STORM_XRUNS:
            return
        spread_s = (xruns[-1].frame - xruns[0].frame) / self._path.sample_rate_hz
        if 0 <= spread_s <= STORM_S:
            msg = (
                f"{self._path.name} lost sound again and again, so it was stopped: the machine "
                "can't keep up; close other programs, use a cable and not a wireless link, and "
                "begin again"
            )
            raise TakeError(msg)
