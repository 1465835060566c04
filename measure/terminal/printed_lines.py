"""Lines that a command prints; on standard error where standard output holds the JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import click


def print_lines(lines: Iterable[str], *, to_error: bool) -> None:
    """Print lines, each in its own call, so that what was said stays if the next one fails."""
    for line in lines:
        click.echo(line, err=to_error)


def list_written(paths: Sequence[Path]) -> list[str]:
    """Return the lines that end a command's answer: which files were written, if any."""
    return ["", "Wrote", *(f"  {path}" for path in paths)] if paths else []
