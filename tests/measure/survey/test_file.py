"""Survey files: what they hold, and how wrong ones are refused with line and observation."""

from __future__ import annotations

import math
from importlib import resources
from pathlib import Path

import pytest

from analysis.survey.result import evaluate_survey
from analysis.survey.solution import solve_survey
from analysis.survey.survey import LINE_AHEAD, LINE_START
from measure.errors import SurveyFileError
from measure.survey.card import card_text
from measure.survey.file import read_survey
from measure.survey.observation_lines import parse_angle, parse_equal_distances, parse_observation

KNOWN = {"head", "rack left", "rack right", "left inner"}

SMALL = """\
unit = "cm"

[instruments]
tape = "2 mm"

[line]
middle_of = ["rack left", "rack right"]
to = "head"

[head]
height = 105

[left]
width = "8 in"
depth = 30
height = 100
tweeter_height = { value = 95, std = 0.5 }
tweeter_from_inner_edge = "2 in"

[right]
width = 20
depth = 30
height = 100
edges_at_full_width = false
edge_height = 90

[points]
"rack left" = 50
"rack right" = { height = 50, side = "right" }

[walls]
front = []

[tape]
"rack left to rack right" = [120, "1.203 m"]
"rack left to left inner" = { value = 71, std = "1 cm" }
"left tweeter to wall front" = 83
"left tweeter to line" = 121

[laser]
"height of rack left" = 50.1

[angles]
"left inner / head / right inner" = 45

[room]
height = "8 ft 2 in"
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "survey.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_what_a_file_says(tmp_path: Path) -> None:
    # Known input: every kind of entry, in three units.
    text = SMALL.replace("[room]", "[target]\nbase_angle_deg = 60\n\n[room]").replace(
        'unit = "cm"', 'unit = "cm"\nequal = ["head to left inner = head to right inner"]'
    )
    file = read_survey(write(tmp_path, text))
    survey = file.survey
    assert file.unit == "cm"
    assert file.target.base_angle_deg == 60
    assert survey.head is not None
    assert survey.head.value_m == pytest.approx(1.05)
    left, right = survey.cabinets["left"], survey.cabinets["right"]
    assert left.width_m == pytest.approx(0.2032)
    assert left.from_inner == pytest.approx(0.25)
    assert left.tweeter is not None
    assert (left.tweeter.value_m, left.tweeter.std_m) == pytest.approx((0.95, 0.005))
    assert right.width_std_m is None
    assert right.tweeter is None
    assert right.edges is not None
    assert survey.room_height_m == pytest.approx(98 * 0.0254)
    assert survey.marks[1].side == "right"
    assert [wall.name for wall in survey.walls] == ["front"]
    found = {one.label: one for one in survey.observations}
    assert found["rack left to rack right, reading 1"].value == pytest.approx(1.2)
    assert found["rack left to rack right, reading 2"].value == pytest.approx(1.203)
    assert found["rack left to rack right, reading 2"].std == pytest.approx(0.002)
    assert found["rack left to left inner"].std == pytest.approx(0.01)
    assert found["height of rack left"].instrument == "laser"
    assert found["left inner / head / right inner"].value == pytest.approx(math.pi / 4)
    assert found["head to left inner = head to right inner"].kind == "equal"
    lines = text.splitlines()
    for label in found:
        assert label.split(", reading")[0] in lines[file.lines[label] - 1]


@pytest.mark.parametrize(
    ("key", "kind", "ends"),
    [
        ("rack left to head", "distance", ("rack left", "head")),
        ("head to wall rear", "perpendicular", ("head", "wall rear")),
        ("left inner to line", "perpendicular", ("left inner", "line")),
        (
            "head to line rack left / rack right",
            "perpendicular",
            ("head", "rack left", "rack right"),
        ),
        ("head along line", "along", ("head", LINE_START, LINE_AHEAD)),
        ("head along rack left / rack right", "along", ("head", "rack left", "rack right")),
        ("height of head", "height", ("head",)),
    ],
)
def test_every_kind_of_line(key: str, kind: str, ends: tuple[str, ...]) -> None:
    # Known input: the forms that the module's docstring lists.
    assert parse_observation(key, known=KNOWN) == (kind, ends)


def test_statements() -> None:
    assert (
        parse_equal_distances("head to rack left = head to rack right", known=KNOWN)[0] == "equal"
    )
    assert parse_angle("rack left / head / rack right", known=KNOWN)[1][1] == "head"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            '"rack left to left inner"',
            '"rack lft to left inner"',
            ["LINE", "did you mean 'rack left'"],
        ),
        (
            '"rack left to left inner"',
            '"rack left and left inner"',
            ["LINE", "isn't understood"],
        ),
        (
            '{ value = 71, std = "1 cm" }',
            '"71 furlongs"',
            ["LINE", "rack left to left inner", "isn't a length"],
        ),
        (
            '{ value = 71, std = "1 cm" }',
            "{ value = 71, std = 0 }",
            ["LINE", "std must lie above 0"],
        ),
        ('{ value = 71, std = "1 cm" }', "[]", ["LINE", "holds no reading"]),
        ('to wall front" = 83', 'to wall north" = 83', ["LINE", "no wall 'north'"]),
        ("= 45", "= 245", ["LINE", "0 to 180"]),
        ('to = "head"', 'to = "lamp"', ["no point 'lamp'"]),
        ('to = "head"', 'start = "head"', ["[line]", "one way"]),
        ('"rack left" = 50', '"rack to left" = 50', ["rack to left", "can't hold"]),
        ('tape = "2 mm"', "tape = 0", ["tape", "above 0"]),
        ("depth = 30", "deepth = 30", ["deepth"]),
        ("= 83", "= 8,3", ["decimal comma"]),
        ('"rack left to left inner"', "“rack left to left inner”", ["curly quotes"]),
        ('"rack left to left inner"', "rack left to left inner", ["several words"]),
        ('unit = "cm"', 'unit = "inch"', ["'inch' isn't one of mm, cm, m, in"]),
        ('unit = "cm"', 'unit = "m"', ["mm wide", 'is unit = "m" right']),
        ('"2 in"', '"20 in"', ["beside the cabinet"]),
        ("base", "base", []),
    ],
)
def test_a_wrong_file_is_refused_with_its_line(
    tmp_path: Path, old: str, new: str, words: list[str]
) -> None:
    # Known input: one slip a file.
    path = write(tmp_path, SMALL.replace(old, new, 1))
    if not words:
        read_survey(path)
        return
    with pytest.raises(SurveyFileError) as caught:
        read_survey(path)
    line = SMALL[: SMALL.index(old)].count("\n") + 1
    for word in (str(path), *words):
        assert word.replace("LINE", f"line {line}:") in str(caught.value)


def test_a_base_angle_without_its_size_is_the_usual_one(tmp_path: Path) -> None:
    # Common practice: the equilateral triangle.
    for given, meant in (("true", 60), ("50", 50), ("false", None)):
        text = SMALL.replace("[room]", f"[target]\nbase_angle_deg = {given}\n\n[room]")
        assert read_survey(write(tmp_path, text)).target.base_angle_deg == meant


def test_a_reading_typed_twice_is_refused(tmp_path: Path) -> None:
    text = SMALL.replace('"left tweeter to line" = 121', '"rack left to rack right" = 121')
    with pytest.raises(SurveyFileError, match="names again what stands further up"):
        read_survey(write(tmp_path, text))


def test_a_missing_file_says_how_to_begin(tmp_path: Path) -> None:
    with pytest.raises(SurveyFileError, match="--new"):
        read_survey(tmp_path / "nothing.toml")


@pytest.mark.parametrize("kit", ["tape", "laser", "both"])
def test_a_starter_is_a_survey_that_holds_together(kit: str, tmp_path: Path) -> None:
    # Known input: the invented room of the starters stands 9 mm nearer on the left.
    text = resources.files("measure").joinpath(f"data/survey-{kit}.toml").read_text("utf-8")
    file = read_survey(write(tmp_path, text))
    result = evaluate_survey(file.survey, file.target)
    assert result.solution.blunders == ()
    assert result.solution.undetermined == ()
    value, std = result.triangle.distance_m.left_minus_right.value_and_std
    assert value == pytest.approx(-0.0094, abs=3 * std)
    assert std < 0.0015
    instruments = {one.instrument for one in file.survey.observations}
    assert instruments == ({"tape", "laser"} if kit == "both" else {kit})
    checked = {
        observation.label: float(redundancy)
        for observation, redundancy in zip(
            result.solution.survey_network.observations,
            result.solution.adjusted.redundancy,
            strict=True,
        )
        if observation.kind == "distance"
    }
    assert min(checked.values()) >= 0.2
    caution = "Never look into the beam" in text
    assert caution is (kit != "tape")


def test_the_card_has_a_blank_for_every_reading(tmp_path: Path) -> None:
    # Invariant: each observation once, within a page's width, with the cautions.
    file = read_survey(write(tmp_path, SMALL))
    card = card_text(file)
    assert max(map(len, card.splitlines())) <= 78
    for label in ("rack left to rack right", "left tweeter to line", "height of rack left"):
        assert card.count(f"  {label[:35]}") == 1
    assert "Never look into the laser" in card


def test_heights_and_widths_know_their_lines(tmp_path: Path) -> None:
    # Known input: the starter's own lines, looked up by a plain search.
    whole = resources.files("measure").joinpath("data/survey-tape.toml").read_text("utf-8")
    file = read_survey(write(tmp_path, whole))
    text = whole.splitlines()
    for label, begins, after in (
        ("height of rack left", '"rack left" =', "[points]"),
        ("height of head", "height =", "[head]"),
        ("width of the right cabinet", "width =", "[right]"),
        ("height of left tweeter", "tweeter_height =", "[left]"),
    ):
        start = next(k for k, line in enumerate(text) if line.startswith(after))
        found = next(k for k in range(start, len(text)) if text[k].startswith(begins))
        assert file.lines[label] == found + 1


@pytest.mark.parametrize("kit", ["tape", "laser", "both"])
@pytest.mark.parametrize("again_mm", [0, 1])
def test_a_reading_taken_twice_blames_nothing(kit: str, again_mm: int, tmp_path: Path) -> None:
    # Invariant: a correct observation typed twice, as the file's own comment suggests, changes
    # little, and makes no other observation wrong.
    text = resources.files("measure").joinpath(f"data/survey-{kit}.toml").read_text("utf-8")
    line = next(one for one in text.splitlines() if one.startswith('"head to left inner"'))
    value = int(line.split("=")[1].split("#")[0].strip())
    path = tmp_path / "twice.toml"
    path.write_text(
        text.replace(line, f'"head to left inner" = [{value}, {value + again_mm}]'), "utf-8"
    )
    solution = solve_survey(read_survey(path).survey)
    assert solution.blunders == ()
    assert solution.undetermined == ()


@pytest.mark.parametrize("again_mm", [0, 1])
def test_a_reading_taken_again_from_the_other_end_blames_nothing(
    again_mm: int, tmp_path: Path
) -> None:
    # Invariant: as above, with the ends of the second observation exchanged.
    text = resources.files("measure").joinpath("data/survey-tape.toml").read_text("utf-8")
    line = next(one for one in text.splitlines() if one.startswith('"head to left inner"'))
    value = int(line.split("=")[1].split("#")[0].strip())
    path = tmp_path / "both_ends.toml"
    path.write_text(
        text.replace(line, f'{line}\n"left inner to head" = {value + again_mm}'), "utf-8"
    )
    solution = solve_survey(read_survey(path).survey)
    assert solution.blunders == ()
    assert solution.undetermined == ()
