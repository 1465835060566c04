"""The command line: one group whose commands are loaded when they are called.

Exit status: 0 when the question was answered (also with a warning), 2 when it couldn't
be, 130 when interrupted: by Ctrl-C, or by the key or signal that stops the sound.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence
from contextlib import suppress

import click

from measure.errors import MeasureError, StoppedError
from measure.terminal.ascii_fallback import use_ascii_fallback

COMMANDS = {
    "devices": "List what can play and record here, and which pair would be used.",
    "take": "Play a sweep, record it at the seat, and keep what it says.",
    "nudge": "Slide a loudspeaker, and see at once which way and how far it still has to go.",
    "sweep": "Write a sweep programme to play, and the sheet that describes it.",
    "read": "Read a recording of it: what to move, which way, how far; the bass and its causes.",
    "compare": "Compare two readings: what changed, and whether it is more than chance.",
    "survey": "Survey the pair with tape and laser: what to move, and how far to trust it.",
    "room": "Say what a room's size and shape foretell: its modes, and what its walls cancel.",
    "place": "Say where to stand the pair and the seat for bass; fitted to readings, if given.",
    "log": "The logbook: rooms, pairs, places, moves and takes kept, found, checked.",
    "report": "Write one page of a take, or of two groups, to print or to read anywhere.",
    "starter": "Write a commented room file to fill in.",
    "about": "Say what is installed, and whether sound can be played and recorded here.",
}
"""Listed here, so that the help needs no command's imports."""

FAILED = 2
INTERRUPTED = 130


class LazyGroup(click.Group):
    """A group that imports a command's module only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the commands in the order in which they are used."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import and return a command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"measure.commands.{cmd_name}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Resolve a command, with a hint for a mistyped one."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], COMMANDS, n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            ctx.fail(f"There is no command {args[0]!r}.{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(package_name="apexline")
def group() -> None:
    """Set up a pair of loudspeakers by measurement.

    Play a sweep, record it at the seat, and read from it which loudspeaker to move,
    which way and how far, and what the room does to the bass.
    """


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Parameters
    ----------
    arguments : sequence of str, optional
        What follows the program's name; by default the process's own.

    Returns
    -------
    int
        As the module docstring says.
    """
    try:
        status = group.main(arguments, prog_name="apexline", standalone_mode=False)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Interrupted.", err=True)
        return INTERRUPTED
    except click.ClickException as problem:
        problem.show()
        return FAILED
    except StoppedError as problem:
        said = str(problem)
        with suppress(OSError):  # Nobody reads any more: the status still tells it.
            click.echo(f"{said[0].upper()}{said[1:]}.", err=True)
        return INTERRUPTED
    except MeasureError as problem:
        click.echo(f"Error: {problem}", err=True)
        return FAILED
    return status if isinstance(status, int) else 0


def main() -> None:
    """Run the command that the process was started with, and exit."""
    use_ascii_fallback()
    try:
        status = run()
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader of our output has gone; Python would complain once more at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 0
    if "measure.sound.portaudio" in sys.modules:
        from measure.sound.portaudio import has_hanging_stream

        if has_hanging_stream():
            # The sound library waits for a dead server when the process ends; we don't.
            sys.stderr.flush()
            os._exit(status)
    sys.exit(status)
