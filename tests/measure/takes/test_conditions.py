"""What is known around a recording. Truth: the files and figures given."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.files.room_file import read_room
from measure.takes.conditions import MicrophoneFile, known_conditions

SAMPLE = Path(__file__).parents[3] / "sample_data" / "room-before.toml"


def test_without_anything_the_air_is_assumed() -> None:
    found = known_conditions(None)
    assert (found.air.temperature_c, found.air_measured) == (20.0, False)
    assert (found.room, found.microphone, found.microphone_document) == (None, None, None)


def test_a_thermometer_is_known_more_closely() -> None:
    told = known_conditions(None, temperature_c=25.0, humidity_percent=40.0)
    assert told.air_measured
    assert (told.air.temperature_c, told.air.relative_humidity_percent) == (25.0, 40.0)
    assumed = known_conditions(None).air
    assert told.air.speed_of_sound_std_m_s < assumed.speed_of_sound_std_m_s


def test_a_room_file_brings_its_air_and_places() -> None:
    room = read_room(SAMPLE)
    found = known_conditions(room)
    assert found.air == room.air
    assert found.air_measured
    assert found.room is not None
    assert found.room[1] == room.positions


def test_the_json_says_what_the_microphones_file_adds(tmp_path: Path) -> None:
    path = tmp_path / "omni.txt"
    path.write_bytes(b"20 -3\n200 0\n20000 5\n")
    found = known_conditions(
        None, microphone=MicrophoneFile(path=path, holds="response", incidence_deg=0)
    )
    document = found.microphone_document
    assert document is not None
    assert (document["file"], document["file_is"]) == ("omni.txt", "response")
    assert document["incidence_deg"] == 0
    assert found.microphone is not None
    for one in document["applied_db"]:
        assert one["correction_db"] == found.microphone.at_db(one["frequency_hz"])


def test_air_that_cannot_be_is_an_error() -> None:
    with pytest.raises(ValueError, match="temperature"):
        known_conditions(None, temperature_c=-300.0)
