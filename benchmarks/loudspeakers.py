r"""Loudspeaker models: two-way boxes that differ a little within a pair.

Conventions: a model is a transfer function on axis at 1 m, without delay; frequencies
in Hz, ripples in dB. Everything is an analogue prototype in closed form, so a model
is the same at every sampling frequency.

The drivers' branches are summed: ``H = HP (LP + s HPx)`` with ``s`` = 1 or -1, times
resonances of the cabinet and the treble unit's roll-off. A fourth-order pair of equal
-6 dB halves sums to a second-order allpass, a second-order pair with one driver turned
over to a first-order allpass, a third-order Butterworth pair to either, by its polarity.
These are no minimum-phase systems, as real loudspeakers aren't.

References
----------
S. H. Linkwitz, "Active crossover networks for noncoincident drivers", J. Audio Eng.
Soc. 24(1), 2-8, 1976 (from memory).
Ripple of a pair: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

CROSSOVERS = ("none", "LR4", "LR2 inverted", "BW3", "BW3 inverted")

MISMATCHES = ("identical", "typical", "hard")


@dataclass(frozen=True, kw_only=True, slots=True)
class Loudspeaker:
    """A two-way box.

    Attributes
    ----------
    low_corner_hz, low_q : float
        Second-order roll-off of a closed box.
    crossover : str
        One of `CROSSOVERS`.
    crossover_hz : float
    top_hz : float
        Corner of the third-order Butterworth roll-off of the treble unit.
    bells : tuple of (float, float, float)
        Resonances: frequency in Hz, gain in dB, Q.
    gain_db : float
    inverted : bool
        Wired the wrong way round.
    """

    low_corner_hz: float = 50.0
    low_q: float = 0.7
    crossover: str = "LR4"
    crossover_hz: float = 2500.0
    top_hz: float = 24000.0
    bells: tuple[tuple[float, float, float], ...] = ()
    gain_db: float = 0.0
    inverted: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Pair:
    """Two loudspeakers of one model."""

    left: Loudspeaker
    right: Loudspeaker


def transfer_function(loudspeaker: Loudspeaker, frequency_hz: Float) -> Complex:
    """Return the complex response of a model at each frequency."""
    woofer, tweeter = driver_functions(loudspeaker, frequency_hz)
    return woofer + tweeter


def driver_functions(loudspeaker: Loudspeaker, frequency_hz: Float) -> tuple[Complex, Complex]:
    """Return the complex response of the woofer and of the tweeter, which sum to the whole."""
    s = 2j * np.pi * frequency_hz
    low = 2 * np.pi * loudspeaker.low_corner_hz
    response = s**2 / (s**2 + s * low / loudspeaker.low_q + low**2)
    top = s / (2 * np.pi * loudspeaker.top_hz)
    response /= (1 + top) * (1 + top + top**2)
    for bell_hz, gain_db, q in loudspeaker.bells:
        p, a = s / (2 * np.pi * bell_hz), 10 ** (gain_db / 40)
        response *= (p**2 + p * a / q + 1) / (p**2 + p / (a * q) + 1)
    gain = 10 ** (loudspeaker.gain_db / 20) * (-1 if loudspeaker.inverted else 1)
    low_pass, high_pass = _crossover_branches(
        loudspeaker.crossover, s / (2 * np.pi * loudspeaker.crossover_hz)
    )
    return gain * response * low_pass, gain * response * high_pass


def _crossover_branches(crossover: str, p: Complex) -> tuple[Complex, Complex]:
    """Return woofer and treble branch; `p` is s over the crossover's 2 pi f."""
    if crossover == "none":
        return np.zeros_like(p), np.ones_like(p)
    if crossover == "LR4":
        section = (p**2 + math.sqrt(2) * p + 1) ** 2
        return 1 / section, p**4 / section
    if crossover == "LR2 inverted":
        return 1 / (p + 1) ** 2, -(p**2) / (p + 1) ** 2
    sign = {"BW3": 1, "BW3 inverted": -1}[crossover]
    section = (p + 1) * (p**2 + p + 1)
    return 1 / section, sign * p**3 / section


def random_loudspeaker(rng: np.random.Generator) -> Loudspeaker:
    """Return a small two-way box with an audible character of its own."""
    return Loudspeaker(
        low_corner_hz=rng.uniform(40, 60),
        low_q=rng.uniform(0.55, 0.9),
        crossover=str(rng.choice(CROSSOVERS)),
        crossover_hz=rng.uniform(1800, 3200),
        top_hz=rng.uniform(20000, 28000),
        bells=_draw_bells(rng, 6, 1.5),
        inverted=bool(rng.random() < 0.1),
    )


def random_pair(rng: np.random.Generator, mismatch: str) -> Pair:
    """Return two boxes of one random model.

    Parameters
    ----------
    rng : numpy.random.Generator
    mismatch : {"identical", "typical", "hard"}
        Typical: six bells of 0.6 dB (standard deviation) a side, crossover 2 %, top corner
        3 %, level 0.3 dB. Hard: twice that, level 1 dB.

    Returns
    -------
    Pair

    Raises
    ------
    ValueError
        If `mismatch` is another word.
    """
    if mismatch not in MISMATCHES:
        msg = f"mismatch {mismatch!r} must be one of {', '.join(MISMATCHES)}"
        raise ValueError(msg)
    model = random_loudspeaker(rng)
    if mismatch == "identical":
        return Pair(left=model, right=model)
    times = 1 if mismatch == "typical" else 2
    level_db = 0.3 if mismatch == "typical" else 1.0
    left, right = (_specimen(model, rng, times, level_db) for _ in range(2))
    return Pair(left=left, right=right)


def _specimen(
    model: Loudspeaker, rng: np.random.Generator, times: float, level_db: float
) -> Loudspeaker:
    """Return one example of a model; tolerances are uniform, half the pair's spread a side."""
    return replace(
        model,
        crossover_hz=model.crossover_hz * (1 + times * rng.uniform(-0.01, 0.01)),
        top_hz=model.top_hz * (1 + times * rng.uniform(-0.015, 0.015)),
        bells=model.bells + _draw_bells(rng, 6, 0.6 * times / math.sqrt(2)),
        gain_db=rng.uniform(-level_db / 2, level_db / 2),
    )


def _draw_bells(
    rng: np.random.Generator, n_bells: int, gain_db: float
) -> tuple[tuple[float, float, float], ...]:
    """Draw bells, log-uniform from 150 Hz to 16 kHz, Q from 0.7 to 5."""
    return tuple(
        (
            float(np.exp(rng.uniform(math.log(150), math.log(16000)))),
            float(rng.normal(0, gain_db)),
            float(np.exp(rng.uniform(math.log(0.7), math.log(5)))),
        )
        for _ in range(n_bells)
    )
