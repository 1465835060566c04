"""``apexline devices``: what can play and record here, and which pair would be used."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

from measure.commands.options.sound import (
    DeviceOptions,
    SoundOptions,
    device_request,
    sound_options,
)
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import print_lines

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from measure.files.output import JsonObject
    from measure.sound.devices import Choice, Device, Direction
    from measure.sound.selection import DeviceSelection

    Rates = dict[tuple[int, Direction], list[int]]
    """Number of a device and direction to the sampling frequencies that it takes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DevicesOptions:
    """What to list, and whether to keep or forget the choice."""

    sound: SoundOptions = field(default_factory=SoundOptions)
    remember: bool = False
    forget: bool = False
    json_target: str | None = None


@defaults_from(DevicesOptions)
@click.command("devices")
@sound_options
@click.option("--remember", is_flag=True, help="Keep this choice for the other commands.")
@click.option("--forget", is_flag=True, help="Forget what was kept.")
@click.option("--json", "json_target", metavar="FILE", help="Write the facts as JSON; - to print.")
def command(**given: object) -> None:
    """List what can play and record here, and which pair would be used.

    Each device is really asked which sampling frequencies it takes. Choose with --play
    and --record; --remember keeps the choice.
    """
    run(options_from(DevicesOptions, given))


def run(options: DevicesOptions) -> None:
    """List the devices, and keep or forget the choice."""
    from measure.files.output import check_json_target, write_json

    check_json_target(options.json_target)
    sound = options.sound
    if options.remember and (options.forget or sound.simulate):
        msg = "--remember goes neither with --forget nor with --simulate"
        raise click.UsageError(msg)
    if sound.simulate:
        lines, document = _simulated_room(sound)
    else:
        if options.forget:
            _forget()
        lines, document = _device_list(sound.devices)
        if options.remember:
            from measure.sound.selection import select_devices

            lines.append(f"Kept in {_keep(select_devices(device_request(sound.devices)))}.")
    print_lines(lines, to_error=options.json_target == "-")
    if options.json_target is not None:
        write_json({"schema": 1, "command": "devices", **document}, options.json_target)


def _simulated_room(sound: SoundOptions) -> tuple[list[str], JsonObject]:
    """Return what is to be said of the invented room."""
    from measure.sound.selection import simulated_room

    room = simulated_room(sound.devices.rate_hz, sound.pace)
    lines = [
        f"Would be used: {room.name}, at {room.sample_rate_hz} Hz.",
        "No device is opened and nothing sounds; everything else is as with devices.",
    ]
    used = {"name": room.name, "sample_rate_hz": room.sample_rate_hz}
    return lines, {"simulated": used, "devices": [], "used": None}


def _device_list(asked: DeviceOptions) -> tuple[list[str], JsonObject]:
    """Return the list of devices, and which pair would be used."""
    from analysis.report.format import wrapped
    from measure.errors import NoMicrophoneError
    from measure.sound.devices import RATES_HZ
    from measure.sound.portaudio import devices, takes_rate
    from measure.sound.selection import select_devices

    found = devices()
    takes = {
        (device.number, direction): [
            rate_hz
            for rate_hz in RATES_HZ
            if takes_rate(device, rate_hz, output=direction == "play")
        ]
        for device in found
        for direction in _directions(device)
    }
    lines = [line for direction in _BOTH for line in _direction_lines(found, direction, takes)]
    document: JsonObject = {
        "simulated": None,
        "devices": [_device_document(device, takes) for device in found],
        "used": None,
    }
    if not takes:
        return [*lines, "Nothing here plays or records; recordings can still be read."], document
    try:
        used = select_devices(device_request(asked))
    except NoMicrophoneError as problem:
        return [*lines, *wrapped(f"Nothing would be used: {problem}.")], document
    return [*lines, *_used_lines(used)], document | {"used": _used_document(used)}


_BOTH: tuple[Direction, Direction] = ("play", "record")


def _directions(device: Device) -> list[Direction]:
    """Return what a device can do."""
    return [direction for direction in _BOTH if device.n_channels(direction) > 0]


def _direction_lines(found: Sequence[Device], direction: Direction, takes: Rates) -> list[str]:
    """Return what can play, or what can record."""
    lines = [
        line
        for device in found
        if (device.number, direction) in takes
        for line in _device_lines(device, direction, takes[device.number, direction])
    ]
    return [f"To {direction} with", *(lines or ["  nothing"])]


def _device_lines(device: Device, direction: Direction, rates_hz: list[int]) -> list[str]:
    """Return two or three lines about a device."""
    takes = ", ".join(map(str, rates_hz)) or "none of the usual ones"
    n_channels = device.n_channels(direction)
    lines = [
        f"  {device.number:2}  {device.name}  (by {device.host})",
        f"      {n_channels} channel{'s' if n_channels > 1 else ''}; takes {takes} Hz; "
        f"{device.default_rate_hz} Hz by default",
    ]
    if direction == "record" and device.hears_output:
        lines.append("      hears what the computer plays, no microphone: taken only by name")
    if device.caution is not None:
        lines.append(f"      caution: {device.caution}")
    return lines


def _device_document(device: Device, takes: Rates) -> JsonObject:
    """Return a device as JSON knows it."""
    return {
        "number": device.number,
        "name": device.name,
        "host": device.host,
        "n_inputs": device.n_inputs,
        "n_outputs": device.n_outputs,
        "default_rate_hz": device.default_rate_hz,
        "caution": device.caution,
        "hears_output": device.hears_output,
        **{f"{name}_rates_hz": takes.get((device.number, name), []) for name in _BOTH},
    }


def _used_lines(used: DeviceSelection) -> list[str]:
    """Say which pair would be used, and why."""
    from analysis.report.format import wrapped

    wiring = used.wiring
    left, right = wiring.output_channels
    inputs = f"the microphone on {wiring.input_channels[0]}"
    if len(wiring.input_channels) > 1:
        inputs += f", the left output wired to {wiring.input_channels[1]}"
    lines = [
        "Would be used",
        f"  to play    {_choice(used.play)}: left on {left}, right on {right}",
        f"  to record  {_choice(used.record)}: {inputs}",
        f"  at         {wiring.sample_rate_hz} Hz ({used.rate_reason})",
    ]
    if used.unasked_text is not None:
        lines += wrapped(f"Nobody said which input: {used.unasked_text}.", indent=2, hanging=2)
    if not wiring.one_clock:
        lines.append(
            "  Their clocks may differ: each take measures by how much, and allows for it."
        )
    cautions = {choice.device.caution for choice in (used.play, used.record)} - {None}
    lines += [
        f"  Caution: the sound system {caution}. Choose the card itself where it is listed."
        for caution in sorted(map(str, cautions))
    ]
    return lines


def _choice(choice: Choice) -> str:
    """Return a device and why it was chosen."""
    return f"{choice.device.name} ({choice.reason})"


def _used_document(used: DeviceSelection) -> JsonObject:
    """Return the pair as JSON knows it."""
    wiring = used.wiring
    return {
        "play": wiring.play.number,
        "play_reason": used.play.reason,
        "record": wiring.record.number,
        "record_reason": used.record.reason,
        "play_channels": wiring.output_channels,
        "record_channel": wiring.input_channels[0],
        "record_channel_unasked": used.channel_unasked,
        "reference_channel": wiring.input_channels[1] if len(wiring.input_channels) > 1 else None,
        "sample_rate_hz": wiring.sample_rate_hz,
        "rate_reason": used.rate_reason,
        "one_clock": wiring.one_clock,
    }


def _keep(used: DeviceSelection) -> Path:
    """Keep a choice, and return where."""
    from measure.files.settings import Settings, write_settings

    wiring = used.wiring
    inputs = wiring.input_channels
    return write_settings(
        Settings(
            play=f"{wiring.play.name} @ {wiring.play.host}",
            record=f"{wiring.record.name} @ {wiring.record.host}",
            play_channels=wiring.output_channels,
            record_channel=inputs[0],
            reference_channel=inputs[1] if len(inputs) > 1 else None,
            rate_hz=wiring.sample_rate_hz,
        )
    )


def _forget() -> None:
    """Forget what was kept."""
    from measure.files.settings import Settings, write_settings

    write_settings(Settings())
