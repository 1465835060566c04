"""A survey as the room file that a reading takes, standard deviations as comments."""

from __future__ import annotations

from typing import Any, Final

import tomli_w

from analysis.survey.propagation import Estimate
from analysis.survey.result import SurveyResult
from analysis.survey.survey import HEAD, SIDES, WALLS, reference_point
from analysis.survey.walls import coordinate_between_m
from measure.errors import SurveyFileError
from measure.survey.file import SurveyFile

USUAL_TEMPERATURE_C: Final = 20.0


def room_text(file: SurveyFile, result: SurveyResult) -> str:
    """Return the room file of a survey, standard deviations as comments.

    Returns
    -------
    str
        TOML.

    Raises
    ------
    SurveyFileError
        If the survey lacks a wall or the room's height.

    Notes
    -----
    A room file is a box. Its length and width are the mean of what the head and both
    loudspeakers find between opposite walls; a place divides them as its own distances do.
    """
    table = {name: result.walls.distances_m(name) for name in (*SIDES, HEAD)}
    _require(file, table[HEAD])
    given_c = file.survey.temperature_c
    lines = [
        f"# The room of {file.path.name}, from its survey. Behind ±: one standard deviation.",
        "# The room as surveyed needn't be square: each place divides the box as it divides",
        "# the distance between the walls there.",
        "",
    ]
    size = {}
    for name, first, second in (("length_m", "front", "rear"), ("width_m", "left", "right")):
        size[name], std_m = _mean_size([(one[first], one[second]) for one in table.values()])
        lines.append(_key_line(name, size[name], std_m))
    lines += [
        _key_line("height_m", file.survey.room_height_m or 0.0, None),
        f"temperature_c = {USUAL_TEMPERATURE_C if given_c is None else given_c}"
        + ("   # assumed: the survey doesn't say" if given_c is None else ""),
    ]
    for name in (*SIDES, HEAD):
        lines += ["", f"[{'seat' if name == HEAD else name}]"]
        lines += _place_lines(result, name, table[name], size)
    return "\n".join(lines) + "\n"


def _require(file: SurveyFile, head: dict[str, Estimate]) -> None:
    """Refuse a survey without four walls and a ceiling."""
    missing = [wall for wall in WALLS if wall not in head or head[wall].value is None]
    if missing:
        msg = (
            f"{file.path}: a room file needs all four walls, and the {' and '.join(missing)} wall "
            "isn't fixed: add readings such as \"head to wall "
            f'{missing[0]}" and "left tweeter to wall {missing[0]}"'
        )
        raise SurveyFileError(msg)
    if file.survey.room_height_m is None:
        msg = f"{file.path}: a room file needs the ceiling: add height = ... under [room]"
        raise SurveyFileError(msg)


def _mean_size(pairs: list[tuple[Estimate, Estimate]]) -> tuple[float, float]:
    """Return the mean distance between two walls, and its sigma or half its spread."""
    found = [one.value_and_std[0] + other.value_and_std[0] for one, other in pairs]
    std_m = max(one.value_and_std[1] + other.value_and_std[1] for one, other in pairs)
    return sum(found) / len(found), max(std_m, (max(found) - min(found)) / 2)


def _place_lines(
    result: SurveyResult, name: str, at: dict[Any, Estimate], size: dict[str, float]
) -> list[str]:
    """Return a place in the box."""
    solution = result.solution
    node = reference_point(name)
    lines = []
    for axis, total, first, second in (
        ("x_m", size["width_m"], "left", "right"),
        ("y_m", size["length_m"], "front", "rear"),
    ):
        near, far = at[first].value_and_std, at[second].value_and_std
        lines.append(_key_line(axis, coordinate_between_m(near[0], far[0], total), near[1]))
    height_std = float(solution.place_covariance(node)[2, 2]) ** 0.5
    return [*lines, _key_line("z_m", float(solution.place_m(node)[2]), height_std)]


def _key_line(name: str, value_m: float, std_m: float | None) -> str:
    """Return a key of the room file with its sigma."""
    text = tomli_w.dumps({name: round(value_m, 4)}).strip()
    return text if std_m is None else f"{text}   # ± {std_m:.4f}"
