"""Invented rooms with known places, and surveys of them with the noise of tape and laser.

A room is drawn at random: where the rack, the loudspeakers, the seat and the walls stand, how
the walls run, how the cabinets are turned. A survey takes a kit's observations there. Heights and
cabinet widths are observations too, with their own noise.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.network import fitted_values
from analysis.survey.adjustment.survey_network import SurveyNetwork, build_survey_network
from analysis.survey.survey import (
    LASER_STD_M,
    SIDES,
    SURVEY_TAPE_STD_M,
    Cabinet,
    CentreLine,
    Height,
    Mark,
    Observation,
    Survey,
    Wall,
    WallName,
)

MINIMAL = (
    "rack left to rack right",
    "head to rack left",
    "head to rack right",
    *(f"head to {side} {edge}" for side in SIDES for edge in ("inner", "outer")),
    *(f"rack {side} to {side} {edge}" for side in SIDES for edge in ("inner", "outer")),
    "left inner to right inner",
)
"""What most people would measure: twelve distances."""

FULL = (
    "rack left to rack right",
    *(f"rack {side} to {side} {edge}" for side in SIDES for edge in ("inner", "outer")),
    "rack left to right outer",
    "rack right to left outer",
    "left inner to right inner",
    "left outer to right outer",
    "seat left to seat right",
    "head to seat left",
    "head to seat right",
    "head to rack left",
    "head to rack right",
    *(f"head to {side} {edge}" for side in SIDES for edge in ("inner", "outer")),
    *(
        f"seat {end} to {side} {edge}"
        for end in SIDES
        for side in SIDES
        for edge in ("inner", "outer")
    ),
    "seat left to rack right",
    "seat right to rack left",
)
"""The starter kits' distances."""

TO_WALLS = (
    "left tweeter to wall front",
    "right tweeter to wall front",
    "left tweeter to wall left",
    "right tweeter to wall right",
    "head to wall left",
    "head to wall right",
    "seat left to wall rear",
    "seat right to wall rear",
)

KITS = {
    "minimal": (MINIMAL, (), False),
    "tape": (FULL + TO_WALLS, (), False),
    "laser": ((), FULL + TO_WALLS, False),
    "both": (FULL[:12], FULL[12:] + TO_WALLS, True),
}
"""Observations by tape, by laser, and whether the front wall has marks of its own."""


def random_places(rng: np.random.Generator) -> dict[str, Float]:
    """Return the points of a random room, in metres."""
    half, skew = rng.uniform(0.3, 0.8), rng.normal(0, 0.02)
    head_y = rng.uniform(2.0, 3.6)
    at = {
        "rack left": (-half, skew, rng.uniform(0.3, 0.7)),
        "rack right": (half, -skew, rng.uniform(0.3, 0.7)),
        "head": (0.0, head_y, rng.uniform(0.95, 1.15)),
        "seat left": (-rng.uniform(0.6, 1.1), head_y + rng.uniform(-0.1, 0.2), 0.6),
        "seat right": (rng.uniform(0.6, 1.1), head_y + rng.uniform(-0.1, 0.2), 0.6),
    }
    width, spread = rng.uniform(0.17, 0.35), rng.uniform(1.0, 1.5)
    height, depth = rng.uniform(0.8, 1.2), rng.uniform(-0.2, 0.6)
    for side, outward in zip(SIDES, (-1, 1), strict=True):
        x, y = outward * (spread + rng.normal(0, 0.03)), depth + rng.normal(0, 0.03)
        toe_in, z = math.radians(rng.uniform(0, 30)), height + rng.normal(0, 0.01)
        step = width / 2 * np.array([outward * math.cos(toe_in), math.sin(toe_in)])
        at[f"{side} inner"] = (x - step[0], y - step[1], z)
        at[f"{side} outer"] = (x + step[0], y + step[1], z)
        at[f"{side} tweeter"] = (x, y, z)
    front = min(depth, 0.0) - rng.uniform(0.5, 1.2)
    for k, x in enumerate((-2.0, 0.0, 2.0), start=1):
        at[f"front {k}"] = (x, front + rng.normal(0, 0.02), 0.9)
    walls = {
        "front": ((-1.0, front + rng.normal(0, 0.02)), (1.0, front + rng.normal(0, 0.02))),
        "rear": ((-1.0, head_y + 1.5), (1.0, head_y + 1.5 + rng.normal(0, 0.05))),
        "left": ((-spread - 0.8, 0.0), (-spread - 0.8 + rng.normal(0, 0.05), 2.0)),
        "right": ((spread + rng.uniform(0.5, 1.5), 0.0), (spread + 1.0 + rng.normal(0, 0.2), 2.0)),
    }
    for name, ends in walls.items():
        for end, place in zip("ab", ends, strict=True):
            at[f"{name} wall {end}"] = (*place, 0.0)
    at["line start"], at["line ahead"] = (0.0, 0.0, 0.0), (0.0, 1.0, 0.0)
    return {name: np.array(place, dtype=np.float64) for name, place in at.items()}


def survey_of(at: dict[str, Float], kit: str) -> Survey:
    """Return a kit's survey of a room, without noise."""
    tape, laser, crooked = KITS[kit]
    used = {"rack left", "rack right"} | (
        {"seat left", "seat right"} if kit != "minimal" else set()
    )
    fronts = [f"front {k}" for k in (1, 2, 3)] if crooked else []
    laser = laser + tuple(
        f"{station} to {mark}" for mark in fronts for station in ("rack left", "rack right", "head")
    )
    walls: tuple[Wall, ...] = ()
    if kit != "minimal":
        names: tuple[WallName, ...] = ("front", "left", "right", "rear")
        walls = tuple(
            Wall(name=name, marks=tuple(fronts) if name == "front" else ()) for name in names
        )

    def height(name: str) -> Height:
        return Height(value_m=float(at[name][2]), std_m=SURVEY_TAPE_STD_M)

    width_m = {
        side: float(np.linalg.norm(at[f"{side} inner"] - at[f"{side} outer"])) for side in SIDES
    }
    survey = Survey(
        head=height("head"),
        cabinets={
            side: Cabinet(
                width_m=width_m[side],
                width_std_m=SURVEY_TAPE_STD_M,
                depth_m=0.3,
                height_m=1.0,
                tweeter=height(f"{side} tweeter"),
            )
            for side in SIDES
        },
        line=CentreLine(start=("rack left", "rack right"), ahead="head"),
        marks=tuple(Mark(name=name, height=height(name)) for name in (*sorted(used), *fronts)),
        walls=walls,
        observations=tuple(
            _observation(key, instrument)
            for keys, instrument in ((tape, "tape"), (laser, "laser"))
            for key in keys
        ),
    )
    survey_network = build_survey_network(
        survey, positions_m=true_positions(build_survey_network(survey), at)
    )
    return with_values(
        survey,
        survey_network,
        fitted_values(survey_network.network, true_positions(survey_network, at)),
    )


def _observation(key: str, instrument: str) -> Observation:
    """Return an observation whose value is filled in later."""
    first, second = key.split(" to ")
    return Observation(
        label=key,
        kind="perpendicular" if second.startswith("wall ") else "distance",
        ends=(first, second),
        value=1.0,
        std=SURVEY_TAPE_STD_M if instrument == "tape" else LASER_STD_M,
        instrument=instrument,
    )


def true_positions(survey_network: SurveyNetwork, at: dict[str, Float]) -> Float:
    """Return the true places of a network's nodes."""
    return np.array([at[name] for name in survey_network.names])


def with_values(survey: Survey, survey_network: SurveyNetwork, values: Float) -> Survey:
    """Return a survey whose observations are the absolute values given, in the network's order."""
    value = {
        one.label: abs(float(v)) for one, v in zip(survey_network.observations, values, strict=True)
    }

    def height(name: str, old: Height | None) -> Height | None:
        return old and Height(value_m=value[f"height of {name}"], std_m=old.std_m)

    return replace(
        survey,
        head=height("head", survey.head),
        cabinets={
            side: replace(
                cabinet,
                width_m=value[f"width of the {side} cabinet"],
                tweeter=height(f"{side} tweeter", cabinet.tweeter),
            )
            for side, cabinet in survey.cabinets.items()
        },
        marks=tuple(replace(mark, height=height(mark.name, mark.height)) for mark in survey.marks),
        observations=tuple(replace(one, value=value[one.label]) for one in survey.observations),
    )


def noisy(
    survey: Survey, rng: np.random.Generator, *, wrong: tuple[int, float] | None = None
) -> Survey:
    """Return a survey with noise on every observation, and one wrong by so much if asked for."""
    survey_network = build_survey_network(survey)
    network = survey_network.network
    values = network.value + network.std * rng.standard_normal(network.std.size)
    if wrong is not None:
        values[wrong[0]] += wrong[1]
    return with_values(survey, survey_network, values)
