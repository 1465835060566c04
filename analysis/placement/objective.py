"""How even, how strong and how alike the bass is at each place.

Conventions: places along the last axis; all terms in dB. *Evenness* is the standard
deviation of sixth-octave levels, 25 to 200 Hz, of both loudspeakers about a slowly falling
line: less is better. *Strength* is the level of 30 to 120 Hz over that of 200 to 1000 Hz,
where direct sound and a diffuse field are taken for the latter. *Likeness* is the rms
difference of left and right: less is better. The *worst dip* is the lowest band below the
line, the *worst peak* the highest above it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.basics.decibel import power_db
from analysis.placement.band_levels import CENTRES_HZ, deviations_from_line_db
from analysis.placement.fit.parameters import PairLevels
from analysis.placement.places import Places
from analysis.room.reverberation import diffuse_power
from analysis.room.room import Room

WEIGHTS: Final = {"evenness": 1.0, "dip_beyond": 0.15, "likeness": 0.1}
"""Cost in dB of each dB: evenness counts fully, a dip as far as it is deeper than
`DIP_ALLOWED_DB`, unlike sides a little. Strength is taste and costs nothing: it is shown.
Common practice, no source; this is the only place where they stand."""

DIP_ALLOWED_DB: Final = 6.0

STRONG_HZ: Final = (30.0, 120.0)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ObjectiveTerms:
    """The terms at each place, each of shape (..., m).

    Attributes
    ----------
    evenness_db, strength_db, likeness_db : ndarray
    worst_dip_db, worst_peak_db : ndarray
        Below 0 and above 0, about the line.
    worst_dip_hz, worst_peak_hz : ndarray
    """

    evenness_db: Float
    strength_db: Float
    likeness_db: Float
    worst_dip_db: Float
    worst_peak_db: Float
    worst_dip_hz: Float
    worst_peak_hz: Float

    @property
    def cost_db(self) -> Float:
        """Weighted sum of the terms; less is better."""
        deeper = np.maximum(-self.worst_dip_db - DIP_ALLOWED_DB, 0.0)
        return np.asarray(
            WEIGHTS["evenness"] * self.evenness_db
            + WEIGHTS["dip_beyond"] * deeper
            + WEIGHTS["likeness"] * self.likeness_db
        )


def objective_terms(
    levels: PairLevels, places: Places, room: Room, *, trusted: Float | None = None
) -> ObjectiveTerms:
    """Return the terms at each place.

    Parameters
    ----------
    trusted : ndarray, shape (19,), optional
        Weight of each band, 0 or 1; no term rests on bands of weight 0.
    """
    weight = np.ones(CENTRES_HZ.size) if trusted is None else trusted
    off = deviations_from_line_db(levels.both_db, weight)
    kept = np.flatnonzero(weight > 0)
    unlike = levels.left_db - levels.right_db
    lowest, highest = kept[np.argmin(off[kept], axis=0)], kept[np.argmax(off[kept], axis=0)]
    strong = kept[(CENTRES_HZ[kept] >= STRONG_HZ[0]) & (CENTRES_HZ[kept] <= STRONG_HZ[1])]
    bass = power_db(np.mean(10 ** (levels.both_db[strong] / 10), axis=0))
    return ObjectiveTerms(
        evenness_db=np.sqrt(np.mean(off[kept] ** 2, axis=0)),
        strength_db=np.asarray(bass - _midrange_level_db(places, room)),
        likeness_db=np.sqrt(np.mean(unlike[kept] ** 2, axis=0)),
        worst_dip_db=off[kept].min(axis=0),
        worst_peak_db=off[kept].max(axis=0),
        worst_dip_hz=CENTRES_HZ[lowest],
        worst_peak_hz=CENTRES_HZ[highest],
    )


def _midrange_level_db(places: Places, room: Room) -> Float:
    """Return the level of 200 to 1000 Hz: direct and diffuse sound of two loudspeakers."""
    mean = min(max(room.mean_absorption, 0.01), 0.99)
    diffuse = diffuse_power(mean, surface_m2=room.surface_m2)
    away = [
        np.linalg.norm(side - places.listener_m, axis=1) for side in (places.left_m, places.right_m)
    ]
    return np.asarray(power_db(sum(1 / distance**2 + diffuse for distance in away)))
