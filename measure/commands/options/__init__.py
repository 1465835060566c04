"""The options that several commands share: declared once, and turned into what they mean."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

FILE: Final = click.Path(path_type=Path)
"""A path, whether or not anything is there: what reads or writes it says what is wrong."""
