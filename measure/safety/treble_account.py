"""What the tweeters of a pair were given lately, and what they may be given next.

Conventions: energy above 2 kHz per loudspeaker, in full-scale squared seconds (FS² s; a
sine at full scale gives 0.5 a second), counted in bins of half a second on a time axis of
the account's own. Axis 0 is left, right. Only arithmetic; `measure.safety.treble_ledger` keeps it.

An entry is made before its signal sounds, and the signal may start up to ``HOLD_S`` late.
Counting it in bins adds up to two bins. So the energy of any 10 s of sound lies within a
window of the account that is longer by both, and that window is held to the cap.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from measure.safety.signal_power import sliding_sums

Float = NDArray[np.float64]

BIN_S: Final = 0.5

HOLD_S: Final = 4.0
"""From an entry to its sound, at the latest."""

SHORT_WINDOW_S: Final = 10.0
"""Several time constants of a tweeter's voice coil; docs/safety.md."""

SHORT_CAP: Final = 0.12
"""FS² s above 2 kHz to a loudspeaker in any 10 s; docs/safety.md derives it."""

LONG_WINDOW_S: Final = 600.0
"""The time in which a tweeter's magnet warms and cools; docs/safety.md."""

LONG_CAP: Final = 1.2
"""FS² s above 2 kHz to a loudspeaker in any 10 min; docs/safety.md derives it."""

CAPS: Final = ((SHORT_WINDOW_S, SHORT_CAP), (LONG_WINDOW_S, LONG_CAP))

_ROUNDING: Final = 1e-9
"""Sums of sums may be off by this, in FS² s."""

Bins = Mapping[int, tuple[float, float]]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Entry:
    """What one signal was entered as.

    Attributes
    ----------
    first_bin : int
    energy : ndarray, shape (2, n_bins)
        Left and right, in FS² s.
    """

    first_bin: int
    energy: Float


@dataclass(frozen=True, kw_only=True, slots=True)
class Account:
    """All entries that still count.

    Attributes
    ----------
    time_s : float
        Now, on the account's axis.
    bins : mapping of int to (float, float)
        Energy of left and right by bin, in FS² s.
    """

    time_s: float = 0.0
    bins: Bins

    def later(self, elapsed_s: float) -> Account:
        """Return the account after some time, without what no longer counts."""
        time_s = self.time_s + elapsed_s
        oldest = math.floor(time_s / BIN_S) - _n_bins(LONG_WINDOW_S)
        kept = {number: pair for number, pair in self.bins.items() if number >= oldest}
        return Account(time_s=time_s, bins=kept)

    def entry(self, energy: Float) -> Entry:
        """Return what a signal that may sound from now on would be entered as."""
        return Entry(first_bin=math.floor(self.time_s / BIN_S), energy=energy)

    def plus(self, entry: Entry, *, sign: int = 1) -> Account:
        """Return the account with an entry added, or taken away again for a `sign` of -1."""
        bins = dict(self.bins)
        for number, (left, right) in enumerate(entry.energy.T.tolist(), start=entry.first_bin):
            old_left, old_right = bins.get(number, (0.0, 0.0))
            bins[number] = (
                max(old_left + sign * left, 0.0),
                max(old_right + sign * right, 0.0),
            )
        return Account(time_s=self.time_s, bins=bins)

    def keeps_caps(self) -> bool:
        """Return whether no window holds more than its cap."""
        if not self.bins:
            return True
        first = min(self.bins)
        energy = np.zeros((2, max(self.bins) - first + 1))
        for number, pair in self.bins.items():
            energy[:, number - first] = pair
        return all(
            sliding_sums(energy, _n_bins(window_s)).max() <= cap + _ROUNDING
            for window_s, cap in CAPS
        )

    def wait_s(self, energy: Float) -> float:
        """Return how long a signal must wait: 0 if it needn't, infinity if it never may.

        Parameters
        ----------
        energy : ndarray, shape (2, n_bins)
        """
        if not EMPTY.plus(EMPTY.entry(energy)).keeps_caps():
            return math.inf
        # It ends: when every entry has left the longest window the account is empty.
        wait_s = 0.0
        later = self
        while not later.plus(later.entry(energy)).keeps_caps():
            wait_s += 1.0
            later = self.later(wait_s)
        return wait_s


EMPTY: Final = Account(bins={})


def full_account() -> Account:
    """Return an account that lets nothing through for ten minutes: where it isn't known."""
    return Account(bins={0: (LONG_CAP, LONG_CAP)})


def _n_bins(window_s: float) -> int:
    """Return how many bins are sure to hold what sounds in any window of a length."""
    return round((window_s + HOLD_S) / BIN_S) + 2
