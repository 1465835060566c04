"""Which devices are chosen, and why."""

from __future__ import annotations

from typing import Any

import pytest

from measure.errors import NoMicrophoneError, SoundDeviceError
from measure.sound.devices import Device, Wiring, choose


def device(number: int, name: str, host: str = "ALSA", **facts: Any) -> Device:
    """Return a device with two channels each way unless told otherwise."""
    usual: dict[str, Any] = {"n_inputs": 2, "n_outputs": 2, "default_rate_hz": 48_000}
    usual |= {"default_input": False, "default_output": False}
    return Device(number=number, name=name, host=host, **(usual | facts))


CARD = device(0, "HDA card: Analog (hw:0,0)", n_outputs=8)
MICROPHONE = device(1, "Measuring microphone: USB (hw:1,0)", n_inputs=1, n_outputs=0)
DEFAULT = device(2, "default", default_input=True, default_output=True)
TWIN = device(3, "Measuring microphone: USB (hw:1,0)", "JACK", n_inputs=1, n_outputs=0)
ALL = (CARD, MICROPHONE, DEFAULT)


@pytest.mark.parametrize(
    ("asked", "kept", "expected", "reason"),
    [
        ("hda", None, CARD, "asked for"),
        ("0", "default", CARD, "asked for"),
        (None, "HDA", CARD, "from the settings"),
        (None, None, DEFAULT, "the system's own choice"),
    ],
)
def test_the_order_of_choices(
    asked: str | None, kept: str | None, expected: Device, reason: str
) -> None:
    # Known input: asked goes before kept, kept before the system's own.
    choice = choose(ALL, "play", asked=asked, kept=kept)
    assert (choice.device, choice.reason) == (expected, reason)


def test_a_whole_name_goes_before_a_part() -> None:
    # Known input: one name is a part of another.
    pair = (device(0, "USB"), device(1, "USB microphone"))
    assert choose(pair, "record", asked="usb", kept=None).device.number == 0


def test_the_sound_system_tells_twins_apart() -> None:
    # Known input: one device reached two ways.
    both = (*ALL, TWIN)
    with pytest.raises(SoundDeviceError, match=r"fits several devices to record with: .* 3 'Meas"):
        choose(both, "record", asked="measuring", kept=None)
    assert choose(both, "record", asked="measuring @ jack", kept=None).device is TWIN


def test_what_cannot_is_not_offered() -> None:
    # Known input: a microphone can't play.
    with pytest.raises(SoundDeviceError, match=r"'Measuring' is no device to play with") as told:
        choose(ALL, "play", asked="Measuring", kept=None)
    assert "microphone" not in str(told.value)


def test_no_device_at_all() -> None:
    with pytest.raises(SoundDeviceError, match="no device to record with: plug one in"):
        choose((), "record", asked=None, kept=None)


@pytest.mark.parametrize(("output", "inputs"), [((1, 1), (1,)), ((1, 3), (1,)), ((1, 2), (0,))])
def test_channels_that_are_not_there(output: tuple[int, int], inputs: tuple[int, ...]) -> None:
    # Known input: the same one twice, one too many, and counted from 0.
    two = device(0, "two")
    with pytest.raises(SoundDeviceError, match=r"two(: channel 1 can't| has 2 channels)"):
        Wiring(
            play=two,
            record=two,
            output_channels=output,
            input_channels=inputs,
            sample_rate_hz=48_000,
        )


def wired(play: Device, record: Device) -> Wiring:
    return Wiring(
        play=play, record=record, output_channels=(1, 2), input_channels=(1,), sample_rate_hz=48_000
    )


def test_who_shares_a_clock() -> None:
    # Known input: one card, a card and a USB microphone, and two clients of one sound server.
    server = "JACK Audio Connection Kit"
    assert wired(CARD, CARD).one_clock
    assert not wired(CARD, MICROPHONE).one_clock
    assert wired(CARD, MICROPHONE).name == f"{CARD.name} and {MICROPHONE.name}"
    assert wired(device(4, "system", server), device(5, "room", server)).one_clock


def test_a_sound_server_is_told_from_a_card() -> None:
    # Known input: names as ALSA gives them; that servers resample is common practice, no source.
    assert DEFAULT.caution is not None
    assert CARD.caution is None
    assert device(0, "pulse").caution is not None
    assert device(0, "default", "JACK").caution is None


# Known input: such inputs as sound systems name them, with cards and microphones invented here.
HEARING_OUTPUT = (
    "Monitor of HDA card Analog Stereo",
    "alsa_output.usb-card.analog-stereo.monitor",
    "Loopback: PCM (hw:2,1)",
    "Loop-back (virtual)",
    "Stereo Mix (HDA audio)",
    "Wave Out Mix",
)


@pytest.mark.parametrize("name", HEARING_OUTPUT)
def test_an_input_that_hears_the_output_is_never_taken_unasked(name: str) -> None:
    # Known input: the system's own choice is a monitor; the microphone is taken all the same.
    looped = device(5, name, default_input=True)
    assert looped.hears_output
    assert choose((looped, MICROPHONE), "record", asked=None, kept=None).device is MICROPHONE
    with pytest.raises(NoMicrophoneError, match="every input here hears what the computer plays"):
        choose((looped,), "record", asked=None, kept=None)
    assert choose((looped, MICROPHONE), "record", asked=name, kept=None).device is looped
    assert choose((looped, MICROPHONE), "play", asked=None, kept=None).device is looped


@pytest.mark.parametrize("name", ["Monitors: USB (hw:1,0)", "Mixer in", "default", "Line in"])
def test_other_inputs_are_taken(name: str) -> None:
    # Known input: names that only resemble those.
    assert not device(5, name).hears_output


def test_an_output_called_monitor_hears_nothing() -> None:
    # Known input: a display that plays.
    assert not device(5, "Display monitor (HDMI)", n_inputs=0).hears_output
