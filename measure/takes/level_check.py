"""The level check: quiet bursts of noise, from below, until the sweep will be loud enough.

First the room's noise, then the left loudspeaker, then the right one; the person says
which sounded, so that exchanged channels are caught before a sweep is read by them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from analysis.recording.play_level import (
    BAND_HZ,
    HEARD_DB,
    STEP_DB,
    WANTED_DB,
    HeardBurst,
    band_level_dbfs,
    find_burst,
    next_peak_dbfs,
)
from measure.errors import TakeError
from measure.sound.keys import Keys
from measure.sound.watch import Watch, open_run

if TYPE_CHECKING:
    from analysis.basics.arrays import Float
    from measure.safety.treble_ledger import Ledger
    from measure.sound.path import Float32, SoundPath

FIRST_PEAK_DBFS: Final = -60.0
"""A thousandth of full scale: with an amplifier turned fully up, a ten-thousandth of a watt
for each hundred."""

NOISE_S: Final = 1.5
BURST_S: Final = 0.5
FADE_S: Final = 0.03
LATENCY_S: Final = 0.6
"""Longest from playing to recording that a device is allowed."""

ENOUGH_DB: Final = 12.0
"""Below that much sweep over noise a take would be a waste of the person's time."""

HOT_DBFS: Final = -48.0
"""Enough at so low a level means that the amplifier is turned up high."""

COMFORT_DBFS: Final = -30.0
"""Where a sweep's level lies with an amplifier set for talking-voice loudness."""

ANSWERS: Final = {"l": "left", "r": "right", "b": "both", "n": "none"}
"""What a person types of which loudspeaker sounded."""

Side = Literal["left", "right"]
SIDES: Final[tuple[Side, Side]] = ("left", "right")
Ask = Callable[[Side], str]


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelFound:
    """What the level check found.

    Attributes
    ----------
    peak_dbfs : float
        For the sweep.
    snr_db : float
        Sweep over noise to be expected in the band, at the weaker side.
    noise_dbfs : float
        The room's noise in the band.
    left, right : HeardBurst
        The last burst of each.
    advice : str
        What to change on the amplifier or microphone; empty where nothing.
    """

    peak_dbfs: float
    snr_db: float
    noise_dbfs: float
    left: HeardBurst
    right: HeardBurst
    advice: str


def check_level(
    path: SoundPath,
    *,
    ledger: Ledger,
    keys: Keys,
    cap_dbfs: float,
    ask: Ask | None,
    tell: Callable[[str], None],
    wanted_db: float = WANTED_DB,
) -> LevelFound:
    """Find the level for a sweep.

    Parameters
    ----------
    path : SoundPath
    ledger : Ledger
        Counts what the tweeters get.
    keys : Keys
    cap_dbfs : float
        No peak goes above.
    ask : callable or None
        Asks which loudspeaker sounded when a side had played, and returns ``left``,
        ``right``, ``both`` or ``none``; None to believe it. Who answers while it still
        sounds isn't asked; where another answer came than was meant, the side plays once
        more, and is asked for once more.
    tell : callable
        Is given what goes on, a line each.
    wanted_db : float
        Sweep over noise.

    Returns
    -------
    LevelFound

    Raises
    ------
    TakeError
        If a loudspeaker isn't heard, the wrong one sounds, or the input is dead.
    StoppedError
        If any key was pressed but those of an answer.
    """
    check = _LevelCheck(path, ledger, keys, asks=ask is not None)
    tell("Listening to the room: please be quiet.")
    noise_dbfs = check.noise_dbfs()
    heard: dict[Side, HeardBurst] = {}
    for side in SIDES:
        tell(f"A quiet noise from the {side} loudspeaker, from low up.")
        first_dbfs = FIRST_PEAK_DBFS
        if side == "right":
            # From one step below the left's: no surprise if it is the more sensitive one.
            first_dbfs = max(FIRST_PEAK_DBFS, heard["left"].peak_dbfs - 2 * STEP_DB)
        heard[side] = check.rise(
            side, first_dbfs, noise_dbfs=noise_dbfs, wanted_db=wanted_db, cap_dbfs=cap_dbfs
        )
        if ask is not None:
            _confirm_side(check, side, heard[side].peak_dbfs, ask, tell)
        _refuse_unheard(side, heard[side])
    return _choose_level(heard["left"], heard["right"], noise_dbfs, wanted_db)


def _confirm_side(
    check: _LevelCheck, side: Side, peak_dbfs: float, ask: Ask, tell: Callable[[str], None]
) -> None:
    """Have the person say which loudspeaker sounded; a slip of a finger is asked about again."""
    answer = check.early_answer() or ask(side)
    if answer != side:
        tell(f"The answer was {answer}, and {side} was meant: once more, to be sure.")
        check.play_burst(side, peak_dbfs)
        _refuse_wrong(side, check.early_answer() or ask(side))


class _EarlyAnswers(Keys):
    """Keeps an answer that is typed while it still sounds; any other key is passed on."""

    def __init__(self, keys: Keys) -> None:
        super().__init__()
        self._keys = keys
        self.stop = keys.stop
        self._answer = ""
        self._has_answered = False

    def pressed(self) -> str:
        """Return a key that isn't an answer's, nor the return key after one."""
        key = self._keys.pressed()
        if key.lower() in ANSWERS:
            self._answer, self._has_answered = ANSWERS[key.lower()], True
            return ""
        # The return that belongs to an answer may come as late as in the next burst.
        return "" if key in "\r\n" and self._has_answered else key

    def look_at_input(self) -> None:
        """Ask for silence where the pipe on standard input has ended."""
        self._keys.look_at_input()

    def take_answer(self) -> str:
        """Return the answer, or an empty string, and forget it."""
        answer, self._answer = self._answer, ""
        return answer


class _LevelCheck:
    """The bursts of one level check; where it asks, keys of an answer stop none of them."""

    def __init__(self, path: SoundPath, ledger: Ledger, keys: Keys, *, asks: bool) -> None:
        self._path, self._ledger, self._keys = path, ledger, keys
        self._early = _EarlyAnswers(keys) if asks else None
        self._rate_hz = path.sample_rate_hz
        self._burst = noise_burst(self._rate_hz)

    def noise_dbfs(self) -> float:
        """Return the level of the room's noise in the band."""
        n_frames = round(NOISE_S * self._rate_hz)
        recorded = self._record(np.zeros((2, n_frames)), n_frames, self._keys)
        # The first tenth may hold the input's switching on.
        return band_level_dbfs(recorded[n_frames // 10 :], self._rate_hz)

    def rise(
        self, side: Side, first_dbfs: float, *, noise_dbfs: float, wanted_db: float, cap_dbfs: float
    ) -> HeardBurst:
        """Play louder and louder bursts until one is enough."""
        peak_dbfs: float | None = min(first_dbfs, cap_dbfs)
        while peak_dbfs is not None:
            burst, recorded = self.play_burst(side, peak_dbfs)
            heard = find_burst(recorded, burst, noise_dbfs=noise_dbfs, sample_rate_hz=self._rate_hz)
            peak_dbfs = next_peak_dbfs(heard, wanted_db=wanted_db, cap_dbfs=cap_dbfs)
        return heard

    def play_burst(self, side: Side, peak_dbfs: float) -> tuple[Float, Float]:
        """Play one burst, and return it and what the microphone heard."""
        burst = self._burst * 10 ** (peak_dbfs / 20)
        output = np.zeros((2, burst.size))
        output[0 if side == "left" else 1] = burst
        n_frames = burst.size + round(LATENCY_S * self._rate_hz)
        return burst, self._record(output, n_frames, self._early or self._keys)

    def early_answer(self) -> str:
        """Return what was answered while it sounded, or an empty string, and forget it."""
        return "" if self._early is None else self._early.take_answer()

    def _record(self, output: Float, n_frames: int, keys: Keys) -> Float:
        """Play something and return what the microphone heard."""
        with open_run(self._path, output, ledger=self._ledger, n_frames=n_frames) as run:
            Watch(self._path, run, keys).until(n_frames)
            recorded: Float32 = run.recorded[0].copy()
        return np.nan_to_num(recorded).astype(np.float64)


def noise_burst(sample_rate_hz: int) -> Float:
    """Return a burst of noise inside the band, with faded ends and a peak of 1.

    Parameters
    ----------
    sample_rate_hz : int

    Returns
    -------
    ndarray, shape (n,)
        Of random phases, always the same.
    """
    n_samples = round(BURST_S * sample_rate_hz)
    frequency_hz = np.fft.rfftfreq(n_samples, 1 / sample_rate_hz)
    inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    phase = np.random.default_rng(1).uniform(0, 2 * np.pi, frequency_hz.size)
    burst = np.fft.irfft(np.where(inside, np.exp(1j * phase), 0), n_samples)
    n_fade = round(FADE_S * sample_rate_hz)
    fade = 0.5 - 0.5 * np.cos(np.pi * np.arange(n_fade) / n_fade)
    burst[:n_fade] *= fade
    burst[-n_fade:] *= fade[::-1]
    return np.asarray(burst / np.abs(burst).max())


def _refuse_wrong(side: Side, answer: str) -> None:
    """Refuse to go on where another loudspeaker sounded than was meant to."""
    if answer == side:
        return
    if answer == "none":
        msg = (
            f"the {side} loudspeaker didn't sound: is the amplifier on and at the right input, is "
            "its volume up a little, and is the cable plugged in? Then begin again"
        )
    elif answer == "both":
        msg = (
            f"both sounded when only the {side} one should: the amplifier or the system plays "
            "mono; switch that off, and begin again"
        )
    else:
        msg = (
            f"the {answer} loudspeaker sounded when the {side} one should: exchange the two "
            "plugs, or the two figures of --play-channels, and begin again"
        )
    raise TakeError(msg)


def _refuse_unheard(side: Side, heard: HeardBurst) -> None:
    """Refuse to go on where the microphone hears too little."""
    if heard.snr_db < ENOUGH_DB:
        msg = (
            f"the microphone hardly hears the {side} loudspeaker, though it was played up to "
            f"{heard.peak_dbfs:.0f} dBFS, the highest allowed: turn the amplifier up by some "
            f"{_missing_db(heard)} dB, see that the right microphone is chosen, and begin again"
        )
        raise TakeError(msg)


def _missing_db(heard: HeardBurst) -> int:
    """Return by how much the amplifier may go up, in whole steps."""
    missing_db = WANTED_DB - heard.snr_db if math.isfinite(heard.snr_db) else 2 * HEARD_DB
    return math.ceil(missing_db)


def _choose_level(
    left: HeardBurst, right: HeardBurst, noise_dbfs: float, wanted_db: float
) -> LevelFound:
    """Choose the level that serves both sides."""
    peak_dbfs = max(left.peak_dbfs, right.peak_dbfs)
    snr_db = min(one.snr_db + peak_dbfs - one.peak_dbfs for one in (left, right))
    return LevelFound(
        peak_dbfs=peak_dbfs,
        snr_db=snr_db,
        noise_dbfs=noise_dbfs,
        left=left,
        right=right,
        advice=_advice(peak_dbfs, snr_db, wanted_db),
    )


def _advice(peak_dbfs: float, snr_db: float, wanted_db: float) -> str:
    """Return what to change on the amplifier."""
    if snr_db < wanted_db - 1:
        more_db = math.ceil(wanted_db - snr_db)
        return (
            f"The sweep will stand {snr_db:.0f} dB above the room's noise, less than the wanted "
            f"{wanted_db:.0f} dB: for a better reading turn the amplifier up by {more_db} dB, or "
            "make the room quieter."
        )
    if peak_dbfs <= HOT_DBFS:
        return (
            f"A sweep of {peak_dbfs:.0f} dBFS is enough, so the amplifier is turned up high: turn "
            f"it down by {COMFORT_DBFS - peak_dbfs:.0f} dB, so that no other sound can be too loud."
        )
    return ""
