"""What each command loads: imports, more than arithmetic, are what a person waits for.

Truth: the table below; read from `sys.modules` of a fresh interpreter that ran the command.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_data"

THIRD_PARTY = ("numpy", "scipy", "matplotlib", "sounddevice", "soundfile", "soxr", "msgspec")
ALL_HEAVY = (*THIRD_PARTY, "skfem", "shapely")
NOT_FOR_A_BOX = (
    "analysis.survey",
    "analysis.placement",
    "analysis.comparison",
    "measure.survey",
    "measure.placement",
    "measure.logbook",
    "measure.live",
    "scipy.signal",
    "scipy.stats",
    "scipy.optimize",
    "scipy.spatial",
    "skfem",
    "matplotlib",
    "sounddevice",
    "analysis.room.mesh",
)
"""What reading a recording made in a rectangular room has no use for."""

SWEEP = str(SAMPLES / "programme.sheet.toml")
READ = ["read", str(SAMPLES / "before.flac"), "--sweep", SWEEP]
MUST_NOT_LOAD: dict[str, tuple[list[str], tuple[str, ...]]] = {
    "help": (["--help"], ALL_HEAVY),
    "help of a verb": (["read", "--help"], ALL_HEAVY),
    "starter": (["starter", "room.toml"], ALL_HEAVY),
    "read": (READ, NOT_FOR_A_BOX),
    "read with a room": ([*READ, "--room", str(SAMPLES / "room-before.toml")], NOT_FOR_A_BOX),
    "survey": (
        ["survey", str(SAMPLES / "survey-before.toml")],
        (
            "analysis.signals",
            "analysis.recording",
            "analysis.bass",
            "soundfile",
            "scipy.signal",
            "matplotlib",
            "sounddevice",
            "skfem",
            "scipy.stats",
        ),
    ),
}
"""Command to what it must not load, a package standing for all below it."""

SCRIPT = """
import sys
from measure import cli
status = cli.run(sys.argv[1:])
sys.stderr.write("\\nLOADED " + " ".join(sys.modules))
sys.exit(status)
"""


def loaded_by(arguments: list[str], folder: Path) -> set[str]:
    """Run a command in a fresh interpreter, and return the modules it left in memory."""
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, *arguments],
        capture_output=True,
        text=True,
        cwd=folder,
        env={"PYTHONPATH": str(ROOT), "HOME": str(folder)},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return set(done.stderr.rpartition("LOADED ")[2].split())


def wrongly_loaded(modules: set[str], forbidden: tuple[str, ...]) -> list[str]:
    """Return the forbidden packages of which something is in memory."""
    return [
        name
        for name in forbidden
        if any(module == name or module.startswith(f"{name}.") for module in modules)
    ]


@pytest.mark.parametrize("name", MUST_NOT_LOAD)
def test_a_command_loads_only_what_it_uses(name: str, tmp_path: Path) -> None:
    arguments, forbidden = MUST_NOT_LOAD[name]
    assert wrongly_loaded(loaded_by(arguments, tmp_path), forbidden) == []


def test_the_packages_load_nothing_heavy() -> None:
    script = "import analysis, measure, measure.cli, sys; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert wrongly_loaded(set(done.stdout.split()), ALL_HEAVY) == []


def test_what_is_loaded_is_noticed(tmp_path: Path) -> None:
    # Known input: reading does load numpy and scipy.fft; a blind check would pass above.
    modules = loaded_by(READ, tmp_path)
    assert wrongly_loaded(modules, ("numpy", "scipy.fft", "soundfile")) == [
        "numpy",
        "scipy.fft",
        "soundfile",
    ]
    assert wrongly_loaded({"scipyx", "ascipy"}, ("scipy",)) == []
