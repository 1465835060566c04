"""What ``apexline place --json`` writes.

Conventions: the keys are listed in docs/placement.md.
"""

from __future__ import annotations

from analysis.placement.band_levels import CENTRES_HZ
from analysis.placement.choice import Choice, Placement
from analysis.placement.fit.parameters import NAMES
from analysis.placement.fit.room_fit import RoomFit
from analysis.placement.response.room_response import RoomModel
from measure.files.output import JsonObject


def place_document(
    placement: Placement,
    fit: RoomFit | None,
    model: RoomModel,
    *,
    by_fit: Placement | None,
    schroeder_hz: float,
) -> JsonObject:
    """Return choices, fit and map; no choices where the readings contradict the room.

    Parameters
    ----------
    placement, by_fit : Placement
        From the room file alone, and after the fit; None without readings.

    Returns
    -------
    dict
    """
    contradicted = fit is not None and fit.contradicted
    choices = () if contradicted else placement.choices
    fit_choices = () if contradicted or by_fit is None else by_fit.choices
    return {
        "schema": 1,
        "command": "place",
        "schroeder_hz": schroeder_hz,
        "mode_error_percent": (model.flat or model.whole).error_percent,  # type: ignore[union-attr]
        "n_places": placement.places.n_places,
        "choices": [_choice_table(one) for one in choices],
        "fit": None
        if fit is None
        else {**_fit_table(fit), "choices": [_choice_table(one) for one in fit_choices]},
        "map": _map_rows(placement),
    }


def _map_rows(placement: Placement) -> list[JsonObject]:
    """Return each place."""
    places = placement.places
    return [
        {
            "front_wall_m": float(places.front_wall_m[k]),
            "half_spread_m": float(places.half_spread_m[k]),
            "seat_m": float(places.seat_m[k]),
            "evenness_db": float(placement.evenness_db[k]),
            "strength_db": float(placement.strength_db[k]),
            "cost_db": float(placement.cost_db[k]),
            "pareto": bool(placement.pareto[k]),
        }
        for k in range(places.n_places)
    ]


def _choice_table(choice: Choice) -> JsonObject:
    """Return a choice's fields under their own names."""
    table = {name: getattr(choice, name) for name in choice.__slots__ if name != "index"}
    return table | {"interval_m": list(choice.interval_m)}


def _fit_table(fit: RoomFit) -> JsonObject:
    """Return a fit."""
    return {
        "n_readings": fit.n_readings,
        "kept": fit.kept,
        "timing": fit.timing,
        "contradicted": fit.contradicted,
        "before_db": fit.before_db,
        "after_db": fit.after_db,
        "left_out_before_db": fit.left_out_before_db,
        "left_out_db": fit.left_out_db,
        "undecided": list(fit.undecided),
        "inseparable": [list(pair) for pair in fit.inseparable],
        "parameters": [
            {"name": name, "value": float(value), "std": float(std)}
            for name, value, std in zip(NAMES, fit.offsets, fit.offsets_std, strict=True)
        ],
        "untrusted_hz": [float(at_hz) for at_hz in CENTRES_HZ[fit.trusted == 0]],
    }
