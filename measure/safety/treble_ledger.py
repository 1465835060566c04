"""The ledgers that count what every command gives to the tweeters.

Conventions: those of `measure.safety.treble_account`. A signal is entered before it sounds, so
that a crash leaves too much in the ledger, never too little; what wasn't played may be
given back.

The person's ledger is one small JSON file that all commands share: the account, with the
wall clock and the computer's running time at its last change. The smaller of the two steps
since then is taken to have passed, and none where the wall clock was set back.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from measure.errors import UnsafeError
from measure.files.system import hold_lock
from measure.safety.treble_account import (
    BIN_S,
    CAPS,
    EMPTY,
    LONG_WINDOW_S,
    Account,
    Entry,
    full_account,
)

Float = NDArray[np.float64]
Clock = Callable[[], float]

SCHEMA: Final = 1

LEDGER_FILE: Final = "tweeter_energy.json"

PATIENCE_S: Final = 5.0
"""Another command holds the ledger for milliseconds."""

MOST_BINS: Final = 20_000
"""More than any signal has: a ledger that says so is damaged."""


class Ledger(Protocol):
    """What `measure.safety.limits` asks of a ledger."""

    @property
    def clock(self) -> Clock:
        """Seconds that pass as sound is played."""

    def enter(self, energy: Float) -> Entry:
        """Count a signal that starts within `HOLD_S`, or refuse it.

        Parameters
        ----------
        energy : ndarray, shape (2, n_bins)
            FS² s above 2 kHz to the left and the right, in bins of half a second.

        Raises
        ------
        UnsafeError
            Saying how long to wait.
        """

    def give_back(self, entry: Entry, *, played_s: float) -> None:
        """Take what wasn't played out of the ledger again, at most once for an entry.

        Parameters
        ----------
        entry : Entry
        played_s : float
            How long the signal sounded from its start, at least.
        """


class MemoryLedger:
    """A ledger that ends with the process, for a simulated room.

    Parameters
    ----------
    clock : callable
        Seconds that pass; a simulation gives its own.
    """

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self.clock = clock
        self._account = EMPTY
        self._at_s = clock()

    def enter(self, energy: Float) -> Entry:
        """Count a signal, or refuse it; as in `Ledger`."""
        self._account, entry = _enter_energy(self._now(), energy)
        return entry

    def give_back(self, entry: Entry, *, played_s: float) -> None:
        """Take what wasn't played out again; as in `Ledger`."""
        self._account = self._now().plus(_unplayed(entry, played_s), sign=-1)

    def _now(self) -> Account:
        """Return the account as time has passed."""
        before_s, self._at_s = self._at_s, self.clock()
        return self._account.later(max(self._at_s - before_s, 0.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class FileLedger:
    """The person's ledger, shared by all commands and processes.

    Attributes
    ----------
    path : Path
        Made, with its folder, at the first entry.
    clock : callable
        The computer's running time, in seconds.
    wall_clock : callable
        Seconds since 1970.
    """

    path: Path
    clock: Clock = time.monotonic
    wall_clock: Clock = time.time

    def enter(self, energy: Float) -> Entry:
        """Count a signal, or refuse it; as in `Ledger`.

        Raises
        ------
        UnsafeError
            Also if the file is damaged (the worst is assumed and written), or can't be
            read or written.
        """
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with hold_lock(self._lock, patience_s=PATIENCE_S):
                account, entry = _enter_energy(self._read(), energy)
                self._write(account)
        except OSError as problem:
            msg = (
                f"can't keep count of what the tweeters get in {self.path} "
                f"({problem.strerror or problem}), so nothing is played: make room, or give "
                "yourself the right to write there"
            )
            raise UnsafeError(msg) from problem
        return entry

    def give_back(self, entry: Entry, *, played_s: float) -> None:
        """Take what wasn't played out again; as in `Ledger`.

        If that fails the ledger holds too much for a while, which is the safe side.
        """
        try:
            with hold_lock(self._lock, patience_s=PATIENCE_S):
                self._write(self._read().plus(_unplayed(entry, played_s), sign=-1))
        except (OSError, UnsafeError):
            return

    @property
    def _lock(self) -> Path:
        return self.path.with_suffix(".lock")

    def _read(self) -> Account:
        """Return the account as time has passed; assume the worst of a damaged one."""
        try:
            text = self.path.read_bytes()
        except FileNotFoundError:
            return EMPTY
        try:
            return self._account(json.loads(text))
        except (ValueError, TypeError, LookupError, ArithmeticError, RecursionError) as problem:
            self._write(full_account())
            msg = (
                f"{self.path}, the count of what the tweeters got, was damaged, so they are "
                f"taken to be hot: wait {LONG_WINDOW_S / 60:.0f} minutes and try again"
            )
            raise UnsafeError(msg) from problem

    def _account(self, content: dict[str, object]) -> Account:
        """Return the account in a file's content, or raise one of the plain errors."""
        if content["schema"] != SCHEMA:
            msg = "another schema"
            raise ValueError(msg)
        wall_s, running_s, time_s = (
            _number(content[key]) for key in ("wall_s", "running_s", "time_s")
        )
        table = content["energy"]
        if not isinstance(table, dict) or len(table) > MOST_BINS:
            msg = "no table of energies"
            raise ValueError(msg)
        bins = {int(key): (_number(left), _number(right)) for key, (left, right) in table.items()}
        newest = math.floor(time_s / BIN_S) + MOST_BINS
        if any(min(pair) < 0 or key > newest for key, pair in bins.items()):
            msg = "impossible energies"
            raise ValueError(msg)
        passed_s = self.wall_clock() - wall_s
        # A smaller running time than before means that the computer was started anew.
        if self.clock() >= running_s:
            passed_s = min(passed_s, self.clock() - running_s)
        return Account(time_s=time_s, bins=bins).later(max(passed_s, 0.0))

    def _write(self, account: Account) -> None:
        """Put the account in the file's place, whole or not at all."""
        document = {
            "schema": SCHEMA,
            "unit": "full-scale squared seconds above 2 kHz: left, right, by half second",
            "wall_s": self.wall_clock(),
            "running_s": self.clock(),
            "time_s": account.time_s,
            "energy": {str(number): pair for number, pair in sorted(account.bins.items())},
        }
        # Only the holder of the lock writes, so one name will do.
        beside = self.path.with_suffix(".new")
        beside.write_text(json.dumps(document, indent=0) + "\n", encoding="utf-8")
        beside.replace(self.path)


def user_ledger() -> FileLedger:
    """Return the ledger in the person's state folder."""
    from measure.files.system import state_folder

    return FileLedger(path=state_folder() / LEDGER_FILE)


def _enter_energy(account: Account, energy: Float) -> tuple[Account, Entry]:
    """Return the account with a signal entered, and its entry; refuse where a cap forbids."""
    wait_s = account.wait_s(energy)
    if math.isinf(wait_s):
        raise UnsafeError(_too_much(energy))
    if wait_s > 0:
        msg = (
            "the tweeters were given so much lately that they must cool first: wait "
            f"{wait_s:.0f} s and try again, or play more quietly"
        )
        raise UnsafeError(msg)
    entry = account.entry(energy)
    return account.plus(entry), entry


def _too_much(energy: Float) -> str:
    """Return why a signal may never be played."""
    most = ", ".join(f"{cap:g} in {window_s:g} s" for window_s, cap in CAPS)
    return (
        f"the output would give a tweeter {energy.sum(axis=1).max():.2g} full-scale squared "
        f"seconds above 2 kHz, and at most {most} are allowed: take a lower level, a shorter "
        "sweep or an earlier end"
    )


def _unplayed(entry: Entry, played_s: float) -> Entry:
    """Return the part of an entry after what was played."""
    energy = entry.energy.copy()
    if played_s > 0:
        # A frame at the border of two bins may have been counted in the next.
        energy[:, : math.ceil(played_s / BIN_S) + 1] = 0
    return Entry(first_bin=entry.first_bin, energy=energy)


def _number(value: object) -> float:
    """Return a finite number, or raise ValueError."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        msg = f"{value!r} is no number"
        raise ValueError(msg)
    return float(value)
