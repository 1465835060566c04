"""``apexline about``: what is installed, and whether sound can be played here."""

from __future__ import annotations

import platform
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

import click

from measure.terminal.option_record import defaults_from, options_from

if TYPE_CHECKING:
    from measure.sound.devices import Device

LIBRARIES = (
    "numpy",
    "scipy",
    "soundfile",
    "soxr",
    "matplotlib",
    "sounddevice",
    "click",
    "msgspec",
    "tomli-w",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class AboutOptions:
    """Where the facts are written as JSON."""

    json_target: str | None = None


@defaults_from(AboutOptions)
@click.command("about")
@click.option("--json", "json_target", metavar="FILE", help="Write the facts as JSON; - to print.")
def command(**given: object) -> None:
    """Say what is installed, and whether this machine can play and record.

    Reading recordings made elsewhere needs none of the latter.
    """
    run(options_from(AboutOptions, given))


def run(options: AboutOptions) -> None:
    """Say what is installed, and write it as JSON where asked for."""
    from measure.files.output import check_json_target, write_json

    check_json_target(options.json_target)
    versions = {name: _version(name) for name in ("apexline", *LIBRARIES)}
    devices, problem = _sound()
    document = {
        "schema": 1,
        "command": "about",
        "python": platform.python_version(),
        "system": platform.platform(terse=True),
        "versions": versions,
        "sound_problem": problem,
        "inputs": [one.name for one in devices or () if one.n_inputs],
        "outputs": [one.name for one in devices or () if one.n_outputs],
    }
    quiet = options.json_target == "-"
    click.echo(f"apexline {versions['apexline']}, Python {document['python']}", err=quiet)
    for name in LIBRARIES:
        click.echo(f"  {name:12} {versions[name]}", err=quiet)
    click.echo(_sound_sentence(devices, problem), err=quiet)
    if options.json_target is not None:
        write_json(document, options.json_target)


def _version(name: str) -> str:
    """Return a package's version."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def _sound() -> tuple[tuple[Device, ...] | None, str | None]:
    """Return this machine's sound devices, or why it has none."""
    from measure.errors import SoundDeviceError
    from measure.sound.portaudio import devices

    try:
        return devices(), None
    except SoundDeviceError as problem:
        return None, str(problem)


def _sound_sentence(devices: tuple[Device, ...] | None, problem: str | None) -> str:
    """Return whether sound can be played and recorded here."""
    if devices is None:
        return f"Sound: {problem}."
    n_outputs = sum(one.n_outputs > 0 for one in devices)
    n_inputs = sum(one.n_inputs > 0 for one in devices)
    return f"Sound: {n_outputs} device(s) to play with, {n_inputs} to record with."
