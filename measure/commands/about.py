"""``apexline about``: what is installed, and whether sound can be played here."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

import click

LIBRARIES = ("numpy", "scipy", "soundfile", "matplotlib", "sounddevice")


@click.command("about", short_help="Say what is installed and whether sound works here.")
@click.option("--json", "json_target", metavar="FILE", help="Write the facts as JSON; - to print.")
def command(json_target: str | None) -> None:
    """Say what is installed, and whether this machine can play and record.

    Reading recordings made elsewhere needs none of the latter.
    """
    from measure.output import write_json

    versions = {name: _version(name) for name in ("apexline", *LIBRARIES)}
    problem = _sound_problem()
    if json_target is not None:
        write_json(
            {
                "schema": 1,
                "command": "about",
                "python": platform.python_version(),
                "versions": versions,
                "sound_library": problem is None,
                "sound_problem": problem,
            },
            json_target,
        )
        if json_target == "-":
            return
    click.echo(f"apexline {versions['apexline']}, Python {platform.python_version()}")
    click.echo(", ".join(f"{name} {versions[name]}" for name in LIBRARIES))
    click.echo("Sound: " + (problem or "the PortAudio library is here."))


def _version(name: str) -> str:
    """Return a package's version."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def _sound_problem() -> str | None:
    """Return why this machine can't play and record, or None."""
    try:
        import sounddevice  # noqa: F401
    except OSError:
        return (
            "the system's PortAudio library is missing (on Debian and Ubuntu: apt install "
            "libportaudio2). Sweeps can still be made and recordings read."
        )
    except ImportError:
        return "the Python package sounddevice isn't installed."
    return None
