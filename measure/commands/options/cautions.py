"""What to know before something sounds, shown by every command that plays."""

from __future__ import annotations

import sys
from importlib import resources
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from measure.sound.path import SoundPath


def show_cautions(path: SoundPath, *, accepted: bool) -> None:
    """Show what to know before something sounds, and have it accepted the first time.

    Parameters
    ----------
    path : SoundPath
        The simulated room, which can hurt nobody, needs no acceptance.
    accepted : bool
        Whether the option for it was given.

    Raises
    ------
    UnsafeError
        If it isn't accepted.
    """
    from measure.safety.cautions import accepted_before, consent
    from measure.sound.simulation.room import SimulatedRoom

    if isinstance(path, SimulatedRoom):
        click.echo("An invented room plays and listens; nothing really sounds.", err=True)
        return
    if not accepted_before():
        text = resources.files("measure").joinpath("data/before_you_measure.txt")
        click.echo(text.read_text(encoding="utf-8"), err=True)

    def ask(text: str) -> str:
        return str(click.prompt(text, default="", show_default=False, prompt_suffix="", err=True))

    terminal = sys.stdin is not None and sys.stdin.isatty()
    click.echo(consent(ask if terminal else None, accepted_by_option=accepted), err=True)
