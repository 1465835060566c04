"""What the options of devices mean. Truth: what is typed."""

from __future__ import annotations

from typing import Any

import click
import pytest

from measure.commands.options.sound import DeviceOptions, SoundOptions, device_request, sound_path


@pytest.mark.parametrize(("typed", "channels"), [("3,4", (3, 4)), (" 2 , 1", (2, 1)), (None, None)])
def test_two_channels_are_read(typed: str | None, channels: tuple[int, int] | None) -> None:
    assert device_request(DeviceOptions(play_channels=typed)).play_channels == channels


@pytest.mark.parametrize("typed", ["3", "1,2,3", "left,right", "-1,2", ""])
def test_anything_else_is_refused(typed: str) -> None:
    with pytest.raises(click.UsageError, match="must be two channels with a comma between"):
        device_request(DeviceOptions(play_channels=typed))


@pytest.mark.parametrize(
    ("option", "given"),
    [
        ("--play", {"play": "card"}),
        ("--record", {"record": "1"}),
        ("--play-channels", {"play_channels": "1,2"}),
        ("--record-channel", {"record_channel": 1}),
    ],
)
def test_no_device_is_chosen_for_an_invented_room(option: str, given: dict[str, Any]) -> None:
    with pytest.raises(click.UsageError, match=f"{option} chooses a device"):
        sound_path(SoundOptions(devices=DeviceOptions(**given), simulate=True))


def test_rate_and_reference_reach_the_invented_room() -> None:
    devices = DeviceOptions(rate_hz=44_100, reference_channel=2)
    path = sound_path(SoundOptions(devices=devices, simulate=True))
    assert (path.sample_rate_hz, path.n_inputs) == (44_100, 2)
