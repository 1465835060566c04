"""What ``apexline devices`` says of a sound server that we know.

Truth: known input. The server runs at one rate, and the room has two channels each way.
"""

from __future__ import annotations

import json
from pathlib import Path

from program import ROOMBOX, Program
from sound_rig import Rig


def test_the_room_is_listed_with_what_it_takes(rig: Rig, tmp_path: Path) -> None:
    program = Program(rig, tmp_path)
    ended = program.run("devices", *ROOMBOX, "--json", "-")
    assert ended.status == 0, ended
    document = json.loads(ended.out)
    (room,) = [device for device in document["devices"] if device["name"] == "roombox"]
    assert (room["n_inputs"], room["n_outputs"]) == (2, 2)
    assert room["host"] == "JACK Audio Connection Kit"
    assert room["play_rates_hz"] == room["record_rates_hz"] == [rig.sample_rate_hz]
    used = document["used"]
    assert used["play"] == used["record"] == room["number"]
    assert used["one_clock"] is True


def test_a_choice_is_remembered_and_forgotten(rig: Rig, tmp_path: Path) -> None:
    program = Program(rig, tmp_path)
    assert program.run("devices", *ROOMBOX, "--remember").status == 0
    used = json.loads(program.run("devices", "--json", "-").out)["used"]
    assert (used["play_reason"], used["record_reason"]) == ("from the settings",) * 2
    assert program.run("devices", "--forget").status == 0
    used = json.loads(program.run("devices", "--json", "-").out)["used"]
    assert used["play_reason"] != "from the settings"
    assert [path.name for path in tmp_path.iterdir()] == ["home"]
