r"""Which places to measure: the fewest readings that decide where to stand.

Conventions: those of `analysis.placement`. Rooms drawn within the uncertainties foretell both
the levels :math:`y` that a reading at a place would show and the evenness :math:`e` of all
places. A reading there, good to `analysis.band_fit.LEVEL_STD_DB`, leaves of the spread of `e`

.. math:: C_{ee} - C_{ey} (C_{yy} + \sigma^2 I)^{-1} C_{ye}

(the conditional covariance of normal variables). The next place is the one that leaves least,
then the next given that one, until none would take away more than `LEAST_GAIN`.

References
----------
G. Evensen, "The Ensemble Kalman Filter", Ocean Dynamics 53, 2003: covariances from an
ensemble (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.arrays import Float
from analysis.band_fit import LEVEL_STD_DB
from analysis.placement import Placement
from analysis.places import Places
from analysis.room_parameters import pair_levels
from analysis.room_response import RoomModel

MOST_STOPS: Final = 5
FEWEST_STOPS: Final = 2
"""One reading can't be foretold by others."""

LEAST_GAIN: Final = 0.05
"""A further reading that takes away less of the variance than this share decides nothing."""

HELD_PERCENT: Final = 90.0
"""Advice that holds so often is decided."""

_NEAR_BEST_DB: Final = 2.0
"""Only places this near to the best matter for the decision."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stop:
    """A place to measure.

    Attributes
    ----------
    front_wall_m, half_spread_m, seat_m : float
    left_share : float
        Share of the evenness's variance that is left after it and those before it.
    """

    front_wall_m: float
    half_spread_m: float
    seat_m: float
    left_share: float


def plan_stops(
    model: RoomModel,
    placement: Placement,
    draws: Float,
    *,
    n_most: int = MOST_STOPS,
    n_fewest: int = FEWEST_STOPS,
) -> tuple[Stop, ...]:
    """Return the places that decide most, in order.

    Parameters
    ----------
    model : RoomModel
    placement : Placement
    draws : ndarray, shape (n, 11)
        The rooms that `placement` was drawn from.
    n_most, n_fewest : int

    Returns
    -------
    tuple of Stop
    """
    candidates = _candidates(placement)
    spread = np.stack([_levels(model, placement.places, candidates, one) for one in draws])
    spread = spread - spread.mean(axis=0)  # (draws, 38, candidates)
    near = placement.evenness_db <= placement.evenness_db.min() + _NEAR_BEST_DB
    merit = placement.drawn_evenness_db[:, near]
    # What matters is how places compare, not how even the room is as a whole.
    merit = merit - merit.mean(axis=1, keepdims=True)
    merit = merit - merit.mean(axis=0)
    total = float(np.sum(merit**2))
    chosen: list[int] = []
    shares: list[float] = []
    while len(chosen) < min(n_most, candidates.size):
        trials = [
            (_left(spread, merit, [*chosen, k]) / total, k)
            for k in range(candidates.size)
            if k not in chosen
        ]
        share, best = min(trials)
        before = shares[-1] if shares else 1.0
        if len(chosen) >= n_fewest and before - share < LEAST_GAIN:
            break
        chosen.append(best)
        shares.append(share)
    places = placement.places
    return tuple(
        Stop(
            front_wall_m=float(places.front_wall_m[candidates[k]]),
            half_spread_m=float(places.half_spread_m[candidates[k]]),
            seat_m=float(places.seat_m[candidates[k]]),
            left_share=share,
        )
        for k, share in zip(chosen, shares, strict=True)
    )


def decided(placement: Placement) -> bool:
    """Return whether the evenest choice holds so often that no reading is worth its while."""
    return placement.choices[0].holds_percent >= HELD_PERCENT


def regret_db(placement: Placement) -> float:
    """Return by how much the evenest choice is expected to miss the best place."""
    drawn = placement.drawn_evenness_db
    return float(np.mean(drawn[:, placement.choices[0].index] - drawn.min(axis=1)))


def _candidates(placement: Placement) -> np.ndarray:
    """Return the front distances at the chosen spread and seat: the pair alone is moved."""
    places, best = placement.places, placement.choices[0]
    same = (places.half_spread_m == best.half_spread_m) & (places.seat_m == best.seat_m)
    row = np.flatnonzero(same)
    return row[np.argsort(places.front_wall_m[row])][:: max(1, row.size // 12)]


def _levels(model: RoomModel, places: Places, chosen: np.ndarray, offsets: Float) -> Float:
    """Return the levels that readings at some places would show, shape (38, n)."""
    levels = pair_levels(
        model,
        places.left_m[chosen],
        places.right_m[chosen],
        places.listener_m[chosen],
        offsets,
    )
    both = np.concatenate([levels.left_db, levels.right_db])
    return np.asarray(both - both.mean(axis=0))  # the gain isn't known


def _left(spread: Float, merit: Float, chosen: list[int]) -> float:
    """Return the variance of the merit that readings at some places leave."""
    seen = np.concatenate([spread[:, :, k] for k in chosen], axis=1)
    noise = LEVEL_STD_DB**2 * (seen.shape[0] - 1)
    # (Y Y' + s I)^-1 over draws: as many as draws, fewer than levels.
    inner = np.linalg.inv(seen @ seen.T / noise + np.eye(seen.shape[0]))
    return float(np.sum(merit * (inner @ merit)))
