"""The scripts of docs/examples, run as a reader would run them.

Truth: *known input*, the geometry and the gains that each script invents.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def printed_by(name: str) -> str:
    """Run one example from the repository's root, and return what it prints."""
    done = subprocess.run(
        [sys.executable, str(ROOT / "docs" / "examples" / name)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
        check=True,
    )
    return done.stdout


def test_two_loudspeakers() -> None:
    numbers = [float(text) for text in re.findall(r"-?\d+\.\d+", printed_by("two_loudspeakers.py"))]
    difference_mm, std_mm, level_db = numbers
    assert difference_mm == pytest.approx(-23.0, abs=0.05)
    assert 0 < std_mm < 0.2
    assert level_db == pytest.approx(0.5, abs=0.02)


def test_every_example_is_tested() -> None:
    names = {path.stem for path in (ROOT / "docs" / "examples").glob("*.py")}
    assert {f"test_{name}" for name in names} <= set(globals())
