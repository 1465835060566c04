"""The places of a survey in a room file's coordinates."""

from __future__ import annotations

from pathlib import Path

import click
import pytest

from measure import cli
from measure.commands.options.conditions import ConditionOptions, read_conditions
from measure.errors import RoomFileError, SurveyFileError
from measure.files.room_file import read_room
from measure.survey.places import room_with_survey

SURVEY = Path(__file__).parents[3] / "sample_data" / "survey-before.toml"
WALLS = "height_m = 2.48\ntemperature_c = 21\n"
BOX = "length_m = {length}\nwidth_m = {width}\n" + WALLS


@pytest.fixture(scope="module")
def surveyed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the room file that the survey itself writes: the second way to its places."""
    path = tmp_path_factory.mktemp("survey") / "room.toml"
    assert cli.run(["survey", str(SURVEY), "--room-out", str(path)]) == 0
    return path


def box(tmp_path: Path, surveyed: Path, **more: float) -> Path:
    room = read_room(surveyed).room
    assert room is not None
    sizes = {"length": room.length_m, "width": room.width_m} | more
    path = tmp_path / "walls.toml"
    path.write_text(BOX.format(**sizes), encoding="utf-8")
    return path


def test_a_box_gets_the_places_of_the_surveys_own_room_file(surveyed: Path, tmp_path: Path) -> None:
    # Second method: the room file that the survey writes.
    file, lines = room_with_survey(box(tmp_path, surveyed), SURVEY)
    own = read_room(surveyed).positions
    for name in ("left", "right"):
        found = getattr(file.positions, name).tweeter.array
        assert found == pytest.approx(getattr(own, name).tweeter.array, abs=2e-4)
    assert file.positions.seat.array == pytest.approx(own.seat.array, abs=2e-4)
    assert "survey-before.toml" in lines[0]
    assert sum("±" in line for line in lines) == 3
    assert "± 0.0" not in "".join(lines)  # the line runs through the head; the walls don't


def test_a_plan_with_one_side_wall_counts_from_it(surveyed: Path, tmp_path: Path) -> None:
    # Invariant: without a straight right and rear wall, places are counted from left and front.
    path = tmp_path / "slanted.toml"
    floor = "floor_m = [[0, 0], [4.1, 0], [4.4, 2.6], [4.3, 5.6], [0, 5.4]]\n"
    path.write_text(floor + WALLS, encoding="utf-8")
    file, _ = room_with_survey(path, SURVEY)
    base, _ = room_with_survey(box(tmp_path, surveyed), SURVEY)
    away = file.positions.seat.array - base.positions.seat.array
    assert abs(away).max() < 0.05
    assert not file.room.is_box


def test_the_files_woofers_stay(surveyed: Path, tmp_path: Path) -> None:
    path = box(tmp_path, surveyed)
    table = "[left]\nx_m = 1\ny_m = 1\nz_m = 1\nwoofer_z_m = 0.4\n"
    path.write_text(path.read_text("utf-8") + table, encoding="utf-8")
    file, _ = room_with_survey(path, SURVEY)
    assert file.positions.left.woofer.z_m == 0.4
    assert file.positions.left.tweeter.x_m != 1


def test_another_room_is_refused(surveyed: Path, tmp_path: Path) -> None:
    with pytest.raises(SurveyFileError, match=r"between the left and the right wall"):
        room_with_survey(box(tmp_path, surveyed, width=3.0), SURVEY)


def test_no_wall_to_count_from_is_said(tmp_path: Path) -> None:
    path = tmp_path / "tent.toml"
    floor = "floor_m = [[0.2, 0], [4.1, 0], [4.4, 2.6], [4.2, 5.6], [0, 5.4]]\n"
    path.write_text(floor + WALLS, encoding="utf-8")
    with pytest.raises(SurveyFileError, match="the left or the right wall"):
        room_with_survey(path, SURVEY)


def test_without_a_survey_the_file_needs_its_own_places(surveyed: Path, tmp_path: Path) -> None:
    with pytest.raises(RoomFileError, match=r"the table \[left\] is missing"):
        room_with_survey(box(tmp_path, surveyed), None)


def test_room_and_place_say_where_their_places_come_from(
    surveyed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = box(tmp_path, surveyed)
    assert cli.run(["room", str(path), "--survey", str(SURVEY)]) == 0
    assert "Places from the survey survey-before.toml" in capsys.readouterr().out
    few = ["--front", "0.6:0.8:0.1", "--spread", "keep", "--seat", "keep"]
    assert cli.run(["place", str(path), "--survey", str(SURVEY), *few]) == 0
    assert "Places from the survey survey-before.toml" in capsys.readouterr().out


def test_a_reading_takes_places_from_the_survey(
    surveyed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: what the survey says reaches the observation; without walls it is refused.
    room = box(tmp_path, surveyed)
    around = read_conditions(room, ConditionOptions(), survey_path=SURVEY)
    assert around.room is not None
    assert around.room[1] == room_with_survey(room, SURVEY)[0].positions
    assert "survey-before.toml" in capsys.readouterr().err
    with pytest.raises(click.UsageError, match="--room"):
        read_conditions(None, ConditionOptions(), survey_path=SURVEY)
    asked = ["--sweep", "none.wav", "--survey", str(SURVEY)]
    assert cli.run(["read", "none.wav", *asked]) == 2
