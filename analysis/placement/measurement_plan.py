r"""Which places to measure: the fewest readings that decide where to stand.

Conventions: those of `analysis.placement.choice`. Drawn rooms predict both the levels
:math:`y` that a reading at a place would show and the evenness :math:`e` of all places. If
drawn room *j* were the true one, a reading there, good to
`analysis.placement.fit.band_fit.LEVEL_STD_DB`, would move the expected evenness by

.. math:: C_{ey} (C_{yy} + \sigma^2 I)^{-1} (y_j - \bar y)

(the conditional mean of normal variables, room *j* itself left out of the covariances). The
place that is then the most even is more even in room *j* than the one advised now, by so much on
average over the rooms is the reading *worth*. The next place is the one worth most, then the next
given that one, until none is worth `LEAST_WORTH_DB` more.

References
----------
G. Evensen, "The Ensemble Kalman Filter", Ocean Dynamics 53, 2003: covariances from an
ensemble (from memory).
H. Raiffa, R. Schlaifer, "Applied Statistical Decision Theory", 1961: the expected value of
sample information (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.placement.choice import Placement
from analysis.placement.fit.band_fit import LEVEL_STD_DB
from analysis.placement.fit.parameters import pair_levels
from analysis.placement.monte_carlo import DrawnRoom
from analysis.placement.places import Places

MOST_PLACES: Final = 5
FEWEST_PLACES: Final = 2
"""One reading can't be predicted by others."""

LEAST_WORTH_DB: Final = 0.05
"""A further reading that is worth less decides nothing: a tenth of what counts as good as
the best (`analysis.placement.choice.WITHIN_DB`)."""

_MOST_CANDIDATES: Final = 12


@dataclass(frozen=True, kw_only=True, slots=True)
class PlannedPlace:
    """A place to measure.

    Attributes
    ----------
    worth_db : float
        By how much the advice is expected to become more even by it and those before it.
    """

    front_wall_m: float
    half_spread_m: float
    seat_m: float
    worth_db: float


def plan_measurements(
    placement: Placement,
    rooms: Sequence[DrawnRoom],
    *,
    n_most: int = MOST_PLACES,
    n_fewest: int = FEWEST_PLACES,
) -> tuple[PlannedPlace, ...]:
    """Return the places that are worth most, in order.

    Parameters
    ----------
    rooms : sequence of DrawnRoom
        Those that `placement` was judged in.
    n_fewest : int
        So many are planned even if they are worth nothing.

    Returns
    -------
    tuple of PlannedPlace
        Empty where no reading would change the advice.
    """
    places = placement.places
    candidates = _candidate_places(placement)
    shown = np.stack([_expected_readings_db(room, places, candidates) for room in rooms])
    chosen: list[int] = []
    worths: list[float] = []
    while len(chosen) < min(n_most, candidates.size):
        left = [k for k in range(candidates.size) if k not in chosen]
        trials = [_worth_db(placement, shown[:, :, [*chosen, k]]) for k in left]
        best = int(np.argmax(trials))
        before = worths[-1] if worths else 0.0
        if len(chosen) >= n_fewest and trials[best] - before < LEAST_WORTH_DB:
            break
        chosen.append(left[best])
        worths.append(max(trials[best], before))
    return tuple(
        PlannedPlace(
            front_wall_m=float(places.front_wall_m[candidates[k]]),
            half_spread_m=float(places.half_spread_m[candidates[k]]),
            seat_m=float(places.seat_m[candidates[k]]),
            worth_db=worth,
        )
        for k, worth in zip(chosen, worths, strict=True)
    )


def expected_regret_db(placement: Placement) -> float:
    """Return by how much the most even choice is expected to miss the best place."""
    drawn = placement.evenness_draws_with_error_db
    return float(np.mean(drawn[:, placement.choices[0].index] - drawn.min(axis=1)))


def _candidate_places(placement: Placement) -> np.ndarray:
    """Return the front distances at the chosen spread and seat: the pair alone is moved."""
    places, best = placement.places, placement.choices[0]
    same = (places.half_spread_m == best.half_spread_m) & (places.seat_m == best.seat_m)
    row = np.flatnonzero(same)
    row = row[np.argsort(places.front_wall_m[row])]
    return row[:: max(1, -(-row.size // _MOST_CANDIDATES))]


def _expected_readings_db(room: DrawnRoom, places: Places, chosen: np.ndarray) -> Float:
    """Return the levels that readings at some places would show, shape (38, n)."""
    levels = pair_levels(
        room.model,
        places.left_m[chosen],
        places.right_m[chosen],
        places.listener_m[chosen],
        room.offsets,
    )
    both = np.concatenate([levels.left_db, levels.right_db])
    return np.asarray(both - both.mean(axis=0))  # the gain isn't known


def _worth_db(placement: Placement, shown: Float) -> float:
    """Return what readings are worth of which the drawn rooms show levels (n, 38, places)."""
    evenness = placement.evenness_draws_db
    n_rooms = evenness.shape[0]
    off = (shown - shown.mean(axis=0)).reshape(n_rooms, -1)
    gram = off @ off.T
    # C_ey (C_yy + s I)^-1 over rooms: as many as rooms, fewer than levels.
    weight = np.linalg.solve(gram + (n_rooms - 1) * LEVEL_STD_DB**2 * np.eye(n_rooms), gram).T
    own = np.diag(weight)[:, np.newaxis]
    moved = evenness - evenness.mean(axis=0)
    predicted = (weight @ moved - own * moved) / (1 - own)  # by the other rooms
    then = np.argmin(placement.evenness_db + predicted, axis=1)
    now = placement.choices[0].index
    return float(np.mean(evenness[:, now] - evenness[np.arange(n_rooms), then]))
