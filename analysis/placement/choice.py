"""Where to stand the pair and the seat for bass: choices, and how well they hold.

Conventions: those of `analysis.placement.places` and `analysis.placement.objective`. Every
place is judged in many rooms drawn within the uncertainties of size, damping, positions and of
the model itself; a choice is ranked by its median over them, which a place that is best by a
hair in one room only doesn't win, and in which a few rooms that keep hardly any sound, the most
uneven of all, don't outvote the rest. A choice *holds* in a room where its evenness is within
`WITHIN_DB` of the best place there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.placement.band_levels import CENTRES_HZ
from analysis.placement.fit.parameters import NAMES, PairLevels, pair_levels
from analysis.placement.monte_carlo import DrawnRoom, draw_rooms, likeliest_offsets
from analysis.placement.objective import ObjectiveTerms, objective_terms
from analysis.placement.places import Places
from analysis.placement.response.room_response import RoomModel

WITHIN_DB: Final = 0.5
"""A place this near to the best is as good: smaller differences aren't heard. Common
practice, no source."""

INTERVAL_DB: Final = 0.3
"""An advised interval ends where the median evenness is worse than the choice's by more."""

STRONGER_DB: Final = 1.0
"""A stronger choice is worth naming from here on."""

MOST_UNEVEN_DB: Final = 1.5
"""A stronger choice may be less even than the most even place by at most this."""

MODEL_ERROR_DB: Final = 1.5
"""One sigma of a band level about the truth before anything was measured: what unfitted
rooms were off by against finite elements and images (`benchmarks/three_rooms.py`); a
fit's left-out error takes its place."""

TAPED_PLACE_STD_M: Final = 0.01
"""One sigma of a place as it will be taped: cabinet, tape, the point the bass comes from."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """A place worth choosing.

    Attributes
    ----------
    name : {"evenest", "balanced", "stronger"}
    index : int
        Of the place.
    interval_m : tuple of float
        Front distances from and to which it is as good, at this spread and seat.
    evenness_db, strength_db, likeness_db, worst_dip_db, worst_peak_db, cost_db : float
        Medians over the drawn rooms.
    worst_dip_hz, worst_peak_hz : float
        In the room as it stands.
    evenness_std_db : float
        Over the drawn rooms.
    holds_percent : float
        Share of the drawn rooms in which it is within `WITHIN_DB` of the best.
    """

    name: str
    index: int
    front_wall_m: float
    half_spread_m: float
    seat_m: float
    interval_m: tuple[float, float]
    evenness_db: float
    evenness_std_db: float
    strength_db: float
    likeness_db: float
    worst_dip_db: float
    worst_peak_db: float
    worst_dip_hz: float
    worst_peak_hz: float
    cost_db: float
    holds_percent: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Placement:
    """All places and the choices among them.

    Attributes
    ----------
    nominal : ObjectiveTerms
        In the room as it stands, or as fitted.
    evenness_db, strength_db, cost_db : ndarray, shape (m,)
        Medians over the drawn rooms.
    evenness_draws_db : ndarray, shape (n_draws, m)
        In each drawn room, as if the model were right: what readings can tell apart.
    evenness_draws_with_error_db : ndarray, shape (n_draws, m)
        The same with the model's own error: how well a choice holds.
    pareto : ndarray of bool, shape (m,)
        Places than which none is both more even and stronger.
    choices : tuple of Choice
        The most even first.
    """

    places: Places
    nominal: ObjectiveTerms
    evenness_db: Float
    strength_db: Float
    cost_db: Float
    evenness_draws_db: Float
    evenness_draws_with_error_db: Float
    pareto: np.ndarray
    choices: tuple[Choice, ...]


def choose_places(
    model: RoomModel,
    places: Places,
    *,
    rng: np.random.Generator,
    offsets: Float | None = None,
    rooms: Sequence[DrawnRoom] | None = None,
    trusted: Float | None = None,
    model_error_db: float = MODEL_ERROR_DB,
) -> Placement:
    """Return the choices among places.

    Parameters
    ----------
    offsets : ndarray, shape (11,), optional
        The likeliest room (`analysis.placement.monte_carlo.likeliest_offsets`).
    rooms : sequence of DrawnRoom, optional
        Rooms within what is uncertain; by default drawn from what the file leaves open.
    trusted : ndarray, shape (19,), optional
        Weight of each band, 0 or 1.
    model_error_db : float
        One sigma of a predicted band level.
    """
    first = likeliest_offsets() if offsets is None else offsets
    nominal = objective_terms(
        _levels_without_gain(model, places, first), places, model.room, trusted=trusted
    )
    terms, evenness_with_error = [], []
    for room in draw_rooms(model, rng) if rooms is None else rooms:
        levels = _levels_without_gain(room.model, _draw_position_errors(places, rng), room.offsets)
        terms.append(objective_terms(levels, places, room.model.room, trusted=trusted))
        # The model's error tells how well a choice holds; to rank by, it is only noise.
        error_db = model_error_db * _draw_model_errors(places, model, rng)
        off = replace(levels, both_db=levels.both_db + error_db)
        evenness_with_error.append(
            objective_terms(off, places, model.room, trusted=trusted).evenness_db
        )
    return _placement_over_rooms(places, nominal, terms, np.stack(evenness_with_error))


def _placement_over_rooms(
    places: Places, nominal: ObjectiveTerms, terms: list[ObjectiveTerms], evenness_with_error: Float
) -> Placement:
    """Return the places with their medians over the drawn rooms, and the choices."""
    drawn = np.stack([one.evenness_db for one in terms])
    evenness = np.median(drawn, axis=0)
    strength = np.median([one.strength_db for one in terms], axis=0)
    placement = Placement(
        places=places,
        nominal=nominal,
        evenness_db=evenness,
        strength_db=strength,
        cost_db=np.median([one.cost_db for one in terms], axis=0),
        evenness_draws_db=drawn,
        evenness_draws_with_error_db=evenness_with_error,
        pareto=_pareto_front(evenness, strength),
        choices=(),
    )
    choices = tuple(_choice_at(placement, terms, *named) for named in _pick_named(placement))
    return replace(placement, choices=choices)


def _levels_without_gain(model: RoomModel, places: Places, offsets: Float) -> PairLevels:
    """Return the levels at each place of one room, without the recording's gain."""
    own = offsets.copy()
    own[NAMES.index("gain_db")] = 0.0
    return pair_levels(model, places.left_m, places.right_m, places.listener_m, own)


def _draw_model_errors(places: Places, model: RoomModel, rng: np.random.Generator) -> Float:
    """Return one draw of what a model misses in each band, of unit variance, (19, m).

    Sound doesn't vary faster from place to place than with its wavelength, and so doesn't
    the error: a plane wave of random direction and phase over front and seat distance.
    """
    wavenumber = 2 * np.pi * CENTRES_HZ / model.speed_of_sound_m_s
    angle, phase = rng.uniform(0, 2 * np.pi, (2, CENTRES_HZ.size))
    path = np.multiply.outer(np.cos(angle) * wavenumber, places.front_wall_m)
    path += np.multiply.outer(np.sin(angle) * wavenumber, places.seat_m)
    return np.asarray(math.sqrt(2) * np.cos(path + phase[:, np.newaxis]))


def _draw_position_errors(places: Places, rng: np.random.Generator) -> Places:
    """Return the places off by one draw of the tape's errors, the same for all."""
    shifts = TAPED_PLACE_STD_M * rng.standard_normal((3, 3))
    return replace(
        places,
        left_m=places.left_m + shifts[0],
        right_m=places.right_m + shifts[1],
        listener_m=places.listener_m + shifts[2],
    )


def _pareto_front(evenness: Float, strength: Float) -> np.ndarray:
    """Return which places none beats in both."""
    order = np.lexsort((-strength, evenness))
    best = np.maximum.accumulate(np.concatenate(([-np.inf], strength[order][:-1])))
    kept = np.zeros(evenness.size, dtype=bool)
    kept[order] = strength[order] > best
    return kept


def _pick_named(placement: Placement) -> list[tuple[str, int]]:
    """Return the most even place, the one of least cost, and stronger ones."""
    evenness, strength = placement.evenness_db, placement.strength_db
    most_even = int(np.argmin(evenness))
    named = [("evenest", most_even)]
    balanced = int(np.argmin(placement.cost_db))
    if balanced != most_even:
        named.append(("balanced", balanced))
    worth = placement.pareto & (evenness <= evenness[most_even] + MOST_UNEVEN_DB)
    worth &= strength >= strength[most_even] + STRONGER_DB
    if worth.any():
        # The most even of those that are clearly stronger, and the strongest.
        stronger = np.flatnonzero(worth)
        picks = [stronger[np.argmin(evenness[stronger])], stronger[np.argmax(strength[stronger])]]
        named += [("stronger", int(k)) for k in dict.fromkeys(picks)]
    return named


def _choice_at(placement: Placement, terms: list[ObjectiveTerms], name: str, index: int) -> Choice:
    """Return a place with all that is known of it."""
    places, drawn = placement.places, placement.evenness_draws_with_error_db
    within = drawn[:, index] <= drawn.min(axis=1) + WITHIN_DB

    def median(field: str) -> float:
        return float(np.median([getattr(one, field)[index] for one in terms]))

    return Choice(
        name=name,
        index=index,
        front_wall_m=float(places.front_wall_m[index]),
        half_spread_m=float(places.half_spread_m[index]),
        seat_m=float(places.seat_m[index]),
        interval_m=_interval_as_even(placement, index),
        evenness_db=float(placement.evenness_db[index]),
        evenness_std_db=float(drawn[:, index].std()),
        strength_db=float(placement.strength_db[index]),
        likeness_db=median("likeness_db"),
        worst_dip_db=median("worst_dip_db"),
        worst_peak_db=median("worst_peak_db"),
        worst_dip_hz=float(placement.nominal.worst_dip_hz[index]),
        worst_peak_hz=float(placement.nominal.worst_peak_hz[index]),
        cost_db=float(placement.cost_db[index]),
        holds_percent=float(100 * within.mean()),
    )


def _interval_as_even(placement: Placement, index: int) -> tuple[float, float]:
    """Return the front distances around a place that are as even."""
    places = placement.places
    same = (places.half_spread_m == places.half_spread_m[index]) & (
        places.seat_m == places.seat_m[index]
    )
    row = np.flatnonzero(same)
    row = row[np.argsort(places.front_wall_m[row])]
    good = placement.evenness_db[row] <= placement.evenness_db[index] + INTERVAL_DB
    at = int(np.flatnonzero(row == index)[0])
    low, high = at, at
    while low > 0 and good[low - 1]:
        low -= 1
    while high < row.size - 1 and good[high + 1]:
        high += 1
    return float(places.front_wall_m[row[low]]), float(places.front_wall_m[row[high]])
