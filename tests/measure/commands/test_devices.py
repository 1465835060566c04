"""What ``apexline devices`` says. Truth: invented devices, written out here."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from measure import cli
from measure.files.system import VARIABLE
from measure.sound import portaudio
from measure.sound.devices import Device

CARD = Device(
    number=0,
    name="card",
    host="ALSA",
    n_inputs=0,
    n_outputs=2,
    default_rate_hz=48_000,
    default_input=False,
    default_output=True,
)
MONITOR = Device(
    number=1,
    name="Monitor of card",
    host="sound server",
    n_inputs=2,
    n_outputs=0,
    default_rate_hz=48_000,
    default_input=True,
    default_output=False,
)
MICROPHONE = Device(
    number=2,
    name="microphone",
    host="ALSA",
    n_inputs=1,
    n_outputs=0,
    default_rate_hz=48_000,
    default_input=False,
    default_output=False,
)


def devices_said(
    found: tuple[Device, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> tuple[str, dict[str, object]]:
    """Return what is said of devices that take every rate, and the JSON."""
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    monkeypatch.setattr(portaudio, "devices", lambda: found)
    monkeypatch.setattr(portaudio, "takes_rate", lambda *_, **__: True)
    target = tmp_path / "devices.json"
    assert cli.run(["devices", "--json", str(target)]) == 0
    return capsys.readouterr().out, json.loads(target.read_text(encoding="utf-8"))


def test_a_monitor_is_named_and_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: the system would take the monitor.
    said, document = devices_said((CARD, MONITOR, MICROPHONE), tmp_path, monkeypatch, capsys)
    assert said.count("hears what the computer plays") == 1
    assert "to record  microphone" in said
    assert [one["hears_output"] for one in document["devices"]] == [False, True, False]  # type: ignore[attr-defined]


def test_where_only_a_monitor_is_there_nothing_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: no microphone is plugged in; the list is still shown.
    said, document = devices_said((CARD, MONITOR), tmp_path, monkeypatch, capsys)
    assert "Monitor of card" in said
    assert "plug a" in said
    assert "Nothing would be used: every input here" in said
    assert document["used"] is None


def test_an_input_taken_unasked_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: a microphone input of one channel, and one of two.
    one, document = devices_said((CARD, MICROPHONE), tmp_path, monkeypatch, capsys)
    assert "Nobody said which input" not in one
    assert document["used"]["record_channel_unasked"] is False  # type: ignore[index]
    two = replace(MICROPHONE, n_inputs=2)
    said, document = devices_said((CARD, two), tmp_path, monkeypatch, capsys)
    assert "Nobody said which input: input 1 of the 2 of microphone" in said
    assert document["used"]["record_channel_unasked"] is True  # type: ignore[index]
