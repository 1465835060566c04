"""A survey as JSON.

Conventions: millimetres and degrees leave; every key is always there, a number that the
observations don't fix is null. ``docs/survey_json.md`` lists each key.
"""

from __future__ import annotations

import math
from typing import Final

from analysis.survey.adjustment.blunders import Blunder
from analysis.survey.arrival import ArrivalAgainstSurvey
from analysis.survey.checkability import Uncheckable
from analysis.survey.moves.moves import Move
from analysis.survey.moves.target import Criterion
from analysis.survey.propagation import Estimate
from analysis.survey.result import SurveyResult
from analysis.survey.survey import SIDES, Observation
from analysis.survey.triangle import SideEstimates, Triangle
from analysis.survey.walls import WallDistance
from measure.files.output import JsonObject
from measure.survey.file import SurveyFile

SCHEMA: Final = 1
_MM: Final = 1e3
_DEG: Final = 180 / math.pi


def survey_document(
    file: SurveyFile, result: SurveyResult, arrival: ArrivalAgainstSurvey | None
) -> JsonObject:
    """Return a survey as JSON knows it."""
    solution, adjusted = result.solution, result.solution.adjusted
    return {
        "schema": SCHEMA,
        "command": "survey",
        "survey": file.path.name,
        "passes": result.passes,
        "criteria": [_criterion_document(one) for one in result.criteria],
        **_triangle_document(result.triangle),
        "walls": _walls_document(result),
        "blunders": [
            _blunder_document(one, solution.survey_network.observations, file)
            for one in solution.blunders
        ],
        "undetermined": list(solution.undetermined),
        "contradictions": list(solution.contradictions),
        "uncheckable": [_uncheckable_document(one) for one in result.uncheckable],
        "doubts": list(result.doubts),
        "moves": [move_document(one) for one in result.plan.moves],
        "readings": _observation_documents(result, file),
        "points": _point_documents(result),
        "redundancy": adjusted.degrees_of_freedom,
        "variance_factor": adjusted.variance_factor,
        "variance_factor_range": adjusted.variance_factor_range,
        "arrival": None if arrival is None else _arrival_document(arrival),
    }


def _criterion_document(one: Criterion) -> JsonObject:
    """Return how well the pair keeps to a criterion."""
    off = _estimate_document(one.off, *_criterion_unit(one.name))
    return {"name": one.name, "verdict": one.verdict, **off}


def _triangle_document(triangle: Triangle) -> JsonObject:
    """Return the triangle's quantities."""
    return {
        "distance": _sides_document(triangle.distance_m, "mm", _MM),
        "offset": _sides_document(triangle.offset_m, "mm", _MM),
        "depth": _sides_document(triangle.depth_m, "mm", _MM),
        "height": _sides_document(triangle.height_m, "mm", _MM),
        "toe_in": _sides_document(triangle.toe_in_rad, "deg", _DEG)
        | _estimate_document(triangle.toe_in_edge_m, "mm", _MM, name="edge"),
        "aim": _sides_document(triangle.aim_rad, "deg", _DEG),
        "base_width_m": triangle.base_width_m.value,
        "base_width_std_m": triangle.base_width_m.std,
        "apex_angle_deg": _scale(triangle.apex_angle_rad.value, _DEG),
        "apex_angle_std_deg": _scale(triangle.apex_angle_rad.std, _DEG),
        "seat_ratio": triangle.seat_ratio.value,
        "seat_ratio_std": triangle.seat_ratio.std,
        "seat": _estimate_document(triangle.seat_offset_m, "mm", _MM, name="right_of_line"),
    }


def _uncheckable_document(one: Uncheckable) -> JsonObject:
    """Return an observation that nothing checks, and what would."""
    return {
        "reading": one.label,
        "redundancy": one.redundancy,
        "add": one.add,
        "again": one.again,
        "redundancy_then": one.redundancy_then,
    }


def _scale(value: float | None, scale: float) -> float | None:
    """Return a value in another unit."""
    return None if value is None else value * scale


def _criterion_unit(criterion: str) -> tuple[str, float]:
    """Return the unit of a criterion and its size."""
    is_angle = criterion.startswith(("toe_in", "base_angle"))
    return ("deg", _DEG) if is_angle else ("mm", _MM)


def _estimate_document(one: Estimate, unit: str, scale: float, *, name: str = "off") -> JsonObject:
    """Return a quantity and its sigma."""
    return {
        f"{name}_{unit}": _scale(one.value, scale),
        f"{name}_std_{unit}": _scale(one.std, scale),
    }


def _sides_document(pair: SideEstimates, unit: str, scale: float) -> JsonObject:
    """Return both sides and their difference."""
    table: JsonObject = {}
    for side in SIDES:
        table |= _estimate_document(pair.of(side), unit, scale, name=side)
    difference = pair.left_minus_right
    return table | {
        f"left_minus_right_{unit}": _scale(difference.value, scale),
        f"std_{unit}": _scale(difference.std, scale),
    }


def _walls_document(result: SurveyResult) -> JsonObject:
    """Return distances from walls and their shapes."""
    walls = result.walls

    def distances(many: tuple[WallDistance, ...]) -> JsonObject:
        return {
            one.wall: _estimate_document(one.reference_m, "mm", _MM, name="distance")
            | ({} if one.gap_m is None else _estimate_document(one.gap_m, "mm", _MM, name="gap"))
            for one in many
        }

    return {
        **{side: distances(walls.cabinets[side]) for side in SIDES},
        "head": distances(walls.head),
        "shapes": [
            {
                "wall": one.wall,
                **_estimate_document(one.skew_rad, "deg", _DEG, name="skew"),
                **_estimate_document(
                    one.bend_m or Estimate(value=None, std=None), "mm", _MM, name="bend"
                ),
                "bend_mark": one.bend_mark,
            }
            for one in walls.shapes
        ],
        "corners": [
            {"walls": list(pair), **_estimate_document(off, "deg", _DEG, name="off_square")}
            for pair, off in walls.corners_rad.items()
        ],
    }


def _convert(value: float, kind: str) -> tuple[str, float]:
    """Return an observation's unit and value as it leaves."""
    return ("deg", value * _DEG) if kind == "angle" else ("mm", value * _MM)


def _blunder_document(
    one: Blunder, observations: tuple[Observation, ...], file: SurveyFile
) -> JsonObject:
    """Return an observation that doesn't fit."""
    observation = observations[one.row]
    unit, given = _convert(one.given, observation.kind)
    return {
        "measurement": observation.label,
        "line": file.lines.get(observation.label),
        "unit": unit,
        "given": given,
        "expected": _convert(one.expected, observation.kind)[1],
        "expected_std": _convert(one.expected_std, observation.kind)[1],
        "standardised": one.standardised,
        "alternatives": [observations[row].label for row in one.alternatives],
    }


def move_document(one: Move) -> JsonObject:
    """Return a move as JSON knows it."""
    return {
        "kind": one.kind,
        "what": one.what,
        "toward_wall_mm": one.toward_wall_m * _MM,
        "toward_wall_std_mm": one.toward_wall_std_m * _MM,
        "outward_mm": one.outward_m * _MM,
        "outward_std_mm": one.outward_std_m * _MM,
        "turn_inward_deg": one.turn_rad * _DEG,
        "turn_std_deg": one.turn_std_rad * _DEG,
        "edge": one.edge,
        "edge_forward_mm": one.edge_m * _MM,
        "edge_std_mm": one.edge_std_m * _MM,
        "about": one.about,
        "readings": [
            {
                "reading": observation.label,
                "unit": _convert(0.0, observation.kind)[0],
                "before": _convert(observation.before, observation.kind)[1],
                "after": _convert(observation.after, observation.kind)[1],
            }
            for observation in one.observations
        ],
        "distance_after_mm": dict(zip(SIDES, (d * _MM for d in one.distance_m), strict=True)),
    }


def _observation_documents(result: SurveyResult, file: SurveyFile) -> list[JsonObject]:
    """Return each observation with its residual and how well it is checked."""
    adjusted = result.solution.adjusted
    rows: list[JsonObject] = []
    for k, observation in enumerate(result.solution.survey_network.observations):
        unit, value = _convert(observation.value, observation.kind)
        rows.append(
            {
                "reading": observation.label,
                "line": file.lines.get(observation.label),
                "instrument": observation.instrument,
                "unit": unit,
                "value": value,
                "std": _convert(observation.std, observation.kind)[1],
                "residual": _convert(float(adjusted.residual[k]), observation.kind)[1],
                "standardised": float(adjusted.standardised[k]),
                "redundancy": float(adjusted.redundancy[k]),
                "used": bool(adjusted.active[k]),
            }
        )
    return rows


def _point_documents(result: SurveyResult) -> JsonObject:
    """Return the places of all points in the frame of the centre line."""
    solution = result.solution
    table: JsonObject = {}
    for name in solution.survey_network.survey.names:
        std = solution.place_covariance(name).diagonal().clip(0) ** 0.5
        fixed = name not in solution.open_nodes
        table[name] = {
            f"{axis}_mm": float(solution.place_m(name)[k]) * _MM if fixed else None
            for k, axis in enumerate("xyz")
        } | {
            f"{axis}_std_mm": float(std[k]) * _MM if fixed else None for k, axis in enumerate("xyz")
        }
    return table


def _arrival_document(found: ArrivalAgainstSurvey) -> JsonObject:
    """Return the sound beside the survey."""
    return {
        "sound_mm": found.sound_m * _MM,
        "survey_mm": found.survey_m * _MM,
        "disagreement_mm": found.disagreement_m * _MM,
        "std_mm": found.std_m * _MM,
        "agrees": found.agrees,
        "microphone_right_mm": found.microphone_right_m * _MM,
        "suspects": [
            {
                "reading": one.label,
                "given_mm": one.given_m * _MM,
                "would_be_mm": one.would_be_m * _MM,
            }
            for one in found.suspects
        ],
    }
