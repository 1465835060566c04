"""Invented loudspeakers of two and three ways whose crossovers invert drivers, or don't.

Conventions: an analog transfer function at given frequencies in Hz; the woofer's polarity
is +1 unless `polarity` says otherwise. Slopes are those of the textbooks: Butterworth
filters, and Linkwitz-Riley filters as two of them in a row. The tweeter of a second-order
Linkwitz-Riley crossover must be inverted for a flat sum; that of a third-order Butterworth
one may be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, freqs

Complex = NDArray[np.complex128]
Float = NDArray[np.float64]

KINDS = {
    "linkwitz-riley 2, tweeter inverted": (1, 2, -1),
    "linkwitz-riley 4": (2, 2, 1),
    "butterworth 1": (1, 1, 1),
    "butterworth 3": (3, 1, 1),
    "butterworth 3, tweeter inverted": (3, 1, -1),
}
"""Order of the Butterworth section, how many in a row, and the upper driver's sign."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Loudspeaker:
    """One loudspeaker's design.

    Attributes
    ----------
    kind : str
        The upper crossover, a key of `KINDS`.
    crossover_hz : float
    bass_hz, bass_order : float, int
        Lower limit and its slope: 2 closed, 4 vented.
    top_hz : float
        Upper limit, second order.
    bells : tuple of (float, float, float)
        Frequency in Hz, level in dB and Q of each unevenness.
    lower_kind : str, optional
        Crossover from woofer to midrange, for three ways.
    lower_hz : float
    polarity : int
        -1 where the wires are swapped.
    tweeter_polarity : int
        -1 where the tweeter is wired against its crossover's design.
    """

    kind: str
    crossover_hz: float
    bass_hz: float
    bass_order: int
    top_hz: float
    bells: tuple[tuple[float, float, float], ...]
    lower_kind: str | None = None
    lower_hz: float = 400.0
    polarity: int = 1
    tweeter_polarity: int = 1

    def response(self, frequency_hz: Float) -> Complex:
        """Return the transfer function at frequencies above 0, shape (n,)."""
        low, high = _crossover(frequency_hz, self.crossover_hz, self.kind)
        if self.lower_kind is not None:
            low = low * sum(_crossover(frequency_hz, self.lower_hz, self.lower_kind))
        total = self.polarity * (low + self.tweeter_polarity * high)
        total *= _butterworth(frequency_hz, self.bass_hz, self.bass_order, "high")
        total *= _butterworth(frequency_hz, self.top_hz, 2, "low")
        for centre_hz, level_db, q in self.bells:
            total *= _bell(frequency_hz, centre_hz, level_db, q)
        return total

    def varied(self, rng: np.random.Generator, amount: float) -> Loudspeaker:
        """Return a sample of the same design: crossover by 2 %, bells by 0.6 dB a unit."""
        bell = (float(np.exp(rng.uniform(4.6, 9.6))), rng.normal(0, 0.6 * amount), 2.0)
        return replace(
            self,
            crossover_hz=self.crossover_hz * (1 + 0.02 * amount * rng.normal()),
            bass_hz=self.bass_hz * (1 + 0.03 * amount * rng.normal()),
            top_hz=self.top_hz * (1 + 0.03 * amount * rng.normal()),
            bells=(*self.bells, bell),
        )


def random_loudspeaker(
    rng: np.random.Generator, *, kind: str | None = None, ways: int = 2
) -> Loudspeaker:
    """Return a design drawn at random."""
    bells = [
        (float(np.exp(rng.uniform(np.log(100), np.log(15e3)))), rng.normal(0, 1.5), q)
        for q in rng.uniform(0.7, 4, 6)
    ]
    kinds = list(KINDS)
    return Loudspeaker(
        kind=kind or kinds[rng.integers(len(kinds))],
        crossover_hz=float(np.exp(rng.uniform(np.log(1500), np.log(3500)))),
        bass_hz=rng.uniform(30, 90),
        bass_order=int(rng.choice([2, 4])),
        top_hz=rng.uniform(16e3, 30e3),
        bells=tuple(bells),
        lower_kind=None if ways == 2 else kinds[rng.integers(len(kinds))],
        lower_hz=float(np.exp(rng.uniform(np.log(250), np.log(700)))),
    )


def _crossover(frequency_hz: Float, at_hz: float, kind: str) -> tuple[Complex, Complex]:
    """Return the low and the high branch."""
    order, in_a_row, sign = KINDS[kind]
    low = _butterworth(frequency_hz, at_hz, order, "low") ** in_a_row
    high = _butterworth(frequency_hz, at_hz, order, "high") ** in_a_row
    return low, sign * high


def _butterworth(frequency_hz: Float, at_hz: float, order: int, kind: str) -> Complex:
    numerator, denominator = butter(order, 2 * np.pi * at_hz, kind, analog=True)
    return np.asarray(freqs(numerator, denominator, 2 * np.pi * frequency_hz)[1])


def _bell(frequency_hz: Float, centre_hz: float, level_db: float, q: float) -> Complex:
    """Return a minimum-phase bell of the given level at its centre."""
    ratio = 1j * frequency_hz / centre_hz
    root = 10 ** (level_db / 40)
    return np.asarray((ratio**2 + ratio * root / q + 1) / (ratio**2 + ratio / (root * q) + 1))
