"""What each operating system does its own way."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.files.system import VARIABLE, config_folder, hold_lock, state_folder


def test_the_platform_s_folder_unless_another_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Second method: the library's own answer; and never the working directory.
    monkeypatch.delenv(VARIABLE, raising=False)
    for folder in (config_folder(), state_folder()):
        assert folder.is_absolute()
        assert folder.name == "apexline"
        assert Path.cwd() not in folder.parents
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    assert config_folder() == state_folder() == tmp_path


def test_a_lock_is_held_by_one_and_let_go(tmp_path: Path) -> None:
    # Known input: a second holder while the first has it, and after.
    path = tmp_path / "lock"
    with (
        hold_lock(path, patience_s=0.0),
        pytest.raises(TimeoutError, match="another process"),
        hold_lock(path, patience_s=0.02),
    ):
        pass
    with hold_lock(path, patience_s=0.0):
        assert path.is_file()
