"""The sound device, where there is one and where there is none."""

from __future__ import annotations

import builtins
import sys
import types
from typing import Any

import pytest

from measure.devices import sound_devices
from measure.errors import SoundDeviceError


def test_a_missing_portaudio_names_its_package(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: what the library raises on a Linux without PortAudio.
    real = builtins.__import__

    def fake(name: str, *rest: Any, **named: Any) -> Any:
        if name == "sounddevice":
            message = "PortAudio library not found"
            raise OSError(message)
        return real(name, *rest, **named)

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(builtins, "__import__", fake)
    with pytest.raises(SoundDeviceError, match="libportaudio2"):
        sound_devices()


def library(query: Any) -> types.ModuleType:
    """Return a stand-in for the sound library."""
    module = types.ModuleType("sounddevice")
    module.PortAudioError = type("PortAudioError", (Exception,), {})  # type: ignore[attr-defined]
    module.query_devices = lambda: query(module)  # type: ignore[attr-defined]
    return module


def test_devices_are_sorted_by_direction(monkeypatch: pytest.MonkeyPatch) -> None:
    found = [
        {"name": "in", "max_input_channels": 1, "max_output_channels": 0},
        {"name": "both", "max_input_channels": 2, "max_output_channels": 2},
        {"name": "out", "max_input_channels": 0, "max_output_channels": 8},
    ]
    monkeypatch.setitem(sys.modules, "sounddevice", library(lambda _: found))
    devices = sound_devices()
    assert devices.inputs == ("in", "both")
    assert devices.outputs == ("both", "out")


def test_a_sound_system_that_does_not_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    def silent(module: Any) -> None:
        msg = "no host"
        raise module.PortAudioError(msg)

    monkeypatch.setitem(sys.modules, "sounddevice", library(silent))
    with pytest.raises(SoundDeviceError, match=r"doesn't answer \(no host\)"):
        sound_devices()
