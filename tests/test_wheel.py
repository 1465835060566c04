"""The wheel holds both packages whole, with their data, and nothing else.

Truth: the files of the tree itself.
"""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the wheel, built without the network."""
    pytest.importorskip("hatchling", reason="the build tool isn't installed")
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    (built,) = out.glob("*.whl")
    return built


def test_the_wheel_holds_the_tree(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        shipped = {name for name in archive.namelist() if ".dist-info/" not in name}
    tree = {
        path.relative_to(ROOT).as_posix()
        for package in ("measure", "analysis")
        for path in (ROOT / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert shipped == tree
    assert {"measure/data/cautions.txt", "measure/data/room.toml"} <= shipped


def test_a_command_runs_from_the_wheel(wheel: Path, tmp_path: Path) -> None:
    # Second method: the wheel alone on the path, the tree nowhere near.
    script = (
        f"import sys; sys.path.insert(0, {str(wheel)!r}); import measure.cli; "
        "assert '.whl' in measure.cli.__file__; sys.exit(measure.cli.run(['starter', 'r.toml']))"
    )
    subprocess.run([sys.executable, "-I", "-c", script], cwd=tmp_path, check=True)
    assert (tmp_path / "r.toml").stat().st_size > 0
