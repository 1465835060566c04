"""What the script does where packages are missing, with every system tool replaced.

Truth: known input, machines of which only the script's own view is made up.
"""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).with_name("install_packages.sh")


def run_on(
    machine: dict[str, str], folder: Path, *, ci: str = ""
) -> subprocess.CompletedProcess[str]:
    """Run the script where the given tools answer as told, by a line of shell each."""
    for tool, line in machine.items():
        path = folder / tool
        path.write_text(f"#!/bin/sh\n{line}\n")
        path.chmod(0o755)
    where = {"PATH": f"{folder}:{os.environ['PATH']}", "CI": ci}
    return subprocess.run([SCRIPT], env=where, capture_output=True, text=True, check=False)


BROWSER = {"chromium": ""}
HAS_PORTAUDIO = "echo 'libportaudio.so.2 (libc6,x86-64)'"


def test_it_says_nothing_where_nothing_is_missing(tmp_path: Path) -> None:
    machine = {
        "jackd": "",
        "chromium": "",
        "ldconfig": HAS_PORTAUDIO,
        "apt-get": "echo called; exit 1",
    }
    done = run_on(machine, tmp_path, ci="true")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.parametrize(("ci", "status"), [("", 0), ("true", 1)])
def test_a_person_without_root_gets_one_line(tmp_path: Path, ci: str, status: int) -> None:
    machine = {
        "jackd": "",
        "chromium": "",
        "ldconfig": "",
        "id": "echo 1000",
        "apt-get": "echo called",
    }
    done = run_on(machine, tmp_path, ci=ci)
    assert done.returncode == status
    assert done.stdout.count("\n") == 1
    assert "apt-get install --no-install-recommends libportaudio2" in done.stdout


def test_root_gets_what_is_missing_and_nothing_else(tmp_path: Path) -> None:
    note = tmp_path / "note"
    machine = {
        "jackd": "",
        "ldconfig": f"test -e {note} && {HAS_PORTAUDIO}",
        "id": "echo 0",
        "apt-get": f'case "$*" in *install*) echo "$@" > {note};; esac',
    }
    done = run_on(machine, tmp_path, ci="true")
    assert done.returncode == 0
    assert note.read_text() == "-qq install -y --no-install-recommends libportaudio2\n"
