"""Limits on what is made to be played: nothing reaches a device without passing here.

Conventions: axes (channel, time), left first, full scale 1. A `SafeSignal` keeps every
limit that a signal can keep by itself, and its energy above 2 kHz is entered in a ledger
when it is made; sound paths accept nothing else, and `measure.sound.emitter` plays each only
once.

docs/safety.md derives the figures. They are this project's own choice; no standard for
tweeters was found.
"""

from __future__ import annotations

from dataclasses import InitVar, dataclass, field
from importlib import resources
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from measure.errors import UnsafeError
from measure.safety.signal_power import (
    frame_length,
    highest_mean_square,
    infrasonic_mean_square,
    treble_energy,
)
from measure.safety.treble_account import BIN_S, Entry
from measure.safety.treble_ledger import Ledger

Float = NDArray[np.float64]
Float32 = NDArray[np.float32]

SAFE_LEVEL_DBFS: Final = -20.0
"""Highest peak without a flag: a hundredth of a full-scale sine's power, whatever the volume
control then takes away, and the sweep's length still gives a clean response."""

TOP_TAPER_DB: Final = 6.0
"""How much quieter the top octave ends than it starts."""

CAP_DBFS: Final = -12.0
"""No sample that this program plays by itself lies above, whatever is asked for."""

CAP: Final = float(np.nextafter(np.float32(10 ** (CAP_DBFS / 20)), np.float32(0)))
"""The same as a 32-bit amplitude, rounded down."""

RMS_CAP_DBFS: Final = -14.0
"""Over any 0.1 s. A sine at the peak cap has -15.0; a decibel more for windows that hold no
whole number of its periods."""

RMS_WINDOW_S: Final = 0.1

INFRASONIC_CAP_DBFS: Final = -40.0
"""RMS below 10 Hz, DC included, over any second: a hundredth of full scale moves no cone
far, and a sweep from 15 Hz at the peak cap stays 2 dB below (0.1 s long) or 40 (10 s)."""

RISE_S: Final = 0.002
"""A signal may reach the peak cap this long after its start, in a straight line."""

STEP_CAP: Final = 0.01
"""A first or last sample up to here makes no click that matters: -40 dBFS."""

RATE_RANGE_HZ: Final = (44_100, 192_000)

SHORTEST_LOOP_S: Final = 0.05
"""A shorter loop would be a tone of more than 20 Hz."""

START_WITHIN_S: Final = 3.0
"""From `admit` to the start of its sound; a second less than the ledger allows for, which
leaves a device time to start."""

_ROUNDING: Final = 1e-6
"""A peak at the cap may lie above it by this share after rounding to 24 or 32 bits; it is
set to the cap."""

_CHECKED_S: Final = 2.0
"""What repeats is checked over so long at least."""


class Admission:
    """One signal's leave to be played once, soon.

    Parameters
    ----------
    entry : Entry
        What the ledger holds for it.
    ledger : Ledger
    """

    def __init__(self, entry: Entry, *, ledger: Ledger) -> None:
        self.entry = entry
        self._ledger = ledger
        self._admitted_s = ledger.clock()
        self._spent = False
        self._settled = False

    def spend(self, *, lead_s: float = 0.0) -> None:
        """Use the leave.

        Parameters
        ----------
        lead_s : float
            In how many seconds the sound starts.

        Raises
        ------
        UnsafeError
            If it was used before, or is too old: admit the samples again.
        """
        if self._spent:
            msg = "this output was played already: it must be admitted anew each time"
            raise UnsafeError(msg)
        age_s = self._ledger.clock() - self._admitted_s + lead_s
        if not 0 <= age_s <= START_WITHIN_S:
            msg = (
                f"this output starts {age_s:.1f} s after it was checked, more than the "
                f"{START_WITHIN_S:g} s that its check holds for: start anew"
            )
            raise UnsafeError(msg)
        self._spent = True

    def give_back(self, *, played_s: float) -> None:
        """Take what wasn't played out of the ledger; it can't be played any more.

        Only the first call counts.

        Parameters
        ----------
        played_s : float
            How long the signal sounded from its start, at least; 0 where it never did.
        """
        if not self._settled:
            self._spent = self._settled = True
            self._ledger.give_back(self.entry, played_s=played_s)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SafeSignal:
    """Output that may reach a device; one that breaks a rule can't be made.

    Making one enters its energy in the ledger: make it with `admit`, just before it is
    played.

    Parameters
    ----------
    ledger : Ledger
        Where its energy above 2 kHz is counted.

    Attributes
    ----------
    samples : ndarray of float32, shape (2, n)
        Left and right, full scale 1; read-only.
    sample_rate_hz : int
        44 100 to 192 000.
    repeated_s : float or None
        For how long it may be repeated without a pause; None for once.
    admission : Admission
        Leave to play it once.
    """

    samples: Float32
    sample_rate_hz: int
    ledger: InitVar[Ledger]
    repeated_s: float | None = None
    admission: Admission = field(init=False)

    def __post_init__(self, ledger: Ledger) -> None:
        rate_hz = self.sample_rate_hz
        if not RATE_RANGE_HZ[0] <= rate_hz <= RATE_RANGE_HZ[1]:
            msg = f"a sampling frequency of {rate_hz} Hz must lie from {RATE_RANGE_HZ[0]} to "
            msg += f"{RATE_RANGE_HZ[1]} Hz: choose another rate for the device"
            raise UnsafeError(msg)
        samples = _below_peak_cap(self.samples)
        heard = _heard(samples, rate_hz, self.repeated_s)
        _check_ends(samples, rate_hz)
        _check_power(heard, rate_hz)
        energy = _binned_treble(heard, rate_hz, self.repeated_s)
        object.__setattr__(self, "samples", samples)
        admission = Admission(ledger.enter(energy), ledger=ledger)
        object.__setattr__(self, "admission", admission)

    @property
    def duration_s(self) -> float:
        """How long it sounds, repeats included, in seconds."""
        return self.repeated_s or self.samples.shape[1] / self.sample_rate_hz


def admit(
    samples: ArrayLike, *, sample_rate_hz: int, ledger: Ledger, repeated_s: float | None = None
) -> SafeSignal:
    """Check samples, count them in the ledger, and return them as what may be played.

    Parameters
    ----------
    samples : array_like, shape (2, n)
        Left and right, full scale 1.
    sample_rate_hz : int
        44 100 to 192 000.
    ledger : Ledger
        `measure.safety.treble_ledger.user_ledger` for a real device, a `MemoryLedger` for a
        simulated one.
    repeated_s : float, optional
        Repeat it for so many seconds instead of playing it once; playing stops there.

    Returns
    -------
    SafeSignal
        To be started within ``START_WITHIN_S``, once. What of it isn't played can be given
        back: ``signal.admission.give_back(played_s=...)``.

    Raises
    ------
    UnsafeError
        If it breaks a limit, or the tweeters must cool first: says how long to wait.
    ValueError
        If the samples have another shape or are no real numbers.
    """
    return SafeSignal(
        samples=np.asarray(samples),
        sample_rate_hz=sample_rate_hz,
        ledger=ledger,
        repeated_s=repeated_s,
    )


def _below_peak_cap(samples: NDArray[np.generic]) -> Float32:
    """Return a read-only copy of finite samples below the peak cap, or refuse."""
    given = np.asarray(samples)
    if given.ndim != 2 or given.shape[0] != 2 or given.shape[1] == 0:
        msg = f"samples of shape {given.shape} must be (2, n), with n at least 1"
        raise ValueError(msg)
    if given.dtype.kind not in "fiu":
        msg = f"samples of type {given.dtype} must be real numbers"
        raise ValueError(msg)
    peak = max(float(given.max()), -float(given.min()))
    # A NaN fails this too.
    if not peak <= CAP * (1 + _ROUNDING):
        msg = f"the output lies above the cap of {CAP_DBFS:g} dBFS, or isn't finite"
        raise UnsafeError(msg)
    safe = np.array(given, dtype=np.float32)
    np.clip(safe, -CAP, CAP, out=safe)
    safe.flags.writeable = False
    return safe


def _heard(samples: Float32, rate_hz: int, repeated_s: float | None) -> Float32:
    """Return the samples, a loop as often as its limits are to be checked over."""
    if repeated_s is None:
        return samples
    n_samples = samples.shape[1]
    if not n_samples / rate_hz <= repeated_s < np.inf or n_samples < SHORTEST_LOOP_S * rate_hz:
        msg = (
            f"a loop of {n_samples / rate_hz:.3g} s repeated for {repeated_s:g} s: it must last "
            f"{SHORTEST_LOOP_S:g} s or more, and the repeats at least as long, but not for ever"
        )
        raise ValueError(msg)
    return np.tile(samples, (1, int(np.ceil(_CHECKED_S * rate_hz / n_samples))))


def _check_ends(samples: Float32, rate_hz: int) -> None:
    """Refuse a signal that starts or ends with a step."""
    n_rise = round(RISE_S * rate_hz)
    first = np.abs(samples[:, :n_rise]).max(axis=0)
    rise = STEP_CAP + CAP * np.arange(first.size) / n_rise
    if (first > rise).any() or np.abs(samples[:, -1]).max() > STEP_CAP:
        msg = "the output starts or ends with a step, which clicks: it must fade in and out"
        raise UnsafeError(msg)


def _check_power(heard: Float32, rate_hz: int) -> None:
    """Refuse a signal above the RMS cap of any moment, or of what lies below 10 Hz."""
    highest = highest_mean_square(heard, sample_rate_hz=rate_hz, window_s=RMS_WINDOW_S)
    if highest > 10 ** (RMS_CAP_DBFS / 10):
        msg = f"the output has an RMS level above {RMS_CAP_DBFS:g} dBFS over {RMS_WINDOW_S:g} s"
        raise UnsafeError(msg)
    slow = infrasonic_mean_square(heard, sample_rate_hz=rate_hz)
    if slow > 10 ** (INFRASONIC_CAP_DBFS / 10):
        msg = (
            f"the output holds {10 * np.log10(slow):.0f} dBFS of DC or of what lies below 10 Hz, "
            f"and at most {INFRASONIC_CAP_DBFS:g} are allowed: start the sweep higher"
        )
        raise UnsafeError(msg)


def _binned_treble(heard: Float32, rate_hz: int, repeated_s: float | None) -> Float:
    """Return the energy above 2 kHz in each bin of the ledger, repeats included."""
    frames = treble_energy(heard, sample_rate_hz=rate_hz)
    starts_s = np.arange(frames.shape[1]) * frame_length(rate_hz) / rate_hz
    if repeated_s is not None:
        period_s = heard.shape[1] / rate_hz
        n_periods = int(np.ceil(repeated_s / period_s))
        starts_s = (starts_s + period_s * np.arange(n_periods)[:, None]).ravel()
        frames = np.tile(frames, (1, n_periods))[:, starts_s < repeated_s]
        starts_s = starts_s[starts_s < repeated_s]
    numbers = np.floor(starts_s / BIN_S).astype(int)
    return np.stack([np.bincount(numbers, weights=side) for side in frames])


def require_safe_level(level_dbfs: float, *, louder: bool) -> None:
    """Refuse a level above the safe one, unless the person asked for it by its flag.

    Parameters
    ----------
    level_dbfs : float
        Peak level, in dB re full scale.
    louder : bool
        Whether the flag was given.

    Raises
    ------
    UnsafeError
        If the level is above full scale, or above the safe level without the flag.
    """
    if not level_dbfs <= 0:
        msg = f"a level of {level_dbfs:g} dBFS lies above full scale: give 0 or less"
        raise UnsafeError(msg)
    if level_dbfs > SAFE_LEVEL_DBFS and not louder:
        msg = (
            f"a peak of {level_dbfs:g} dBFS can hurt ears and tweeters: use "
            f"{SAFE_LEVEL_DBFS:g} or less, or add --louder-than-safe if you know that the "
            "volume is low and the tweeters can take it"
        )
        raise UnsafeError(msg)


def cautions() -> str:
    """Return the cautions for a person about to play a sweep."""
    return resources.files("measure").joinpath("data/cautions.txt").read_text(encoding="utf-8")
