"""The person's settings: kept, found again, and mended by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.errors import SettingsError
from measure.files.settings import Settings, read_settings, settings_path, write_settings
from measure.files.system import VARIABLE


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "home"))
    return tmp_path / "home"


def test_what_is_kept_comes_back() -> None:
    # Invariant: a round trip, with signs that TOML must quote.
    kept = Settings(play='Box "é" @ JACK', play_channels=(3, 4), record_channel=2, rate_hz=96_000)
    assert write_settings(kept) == settings_path()
    assert read_settings() == kept


def test_nothing_kept_is_nothing_set() -> None:
    # Known input: no file.
    assert read_settings() == Settings()


def test_a_damaged_file_is_named(home: Path) -> None:
    # Known input: what a slip of the hand leaves.
    home.mkdir()
    settings_path().write_text("play = 'Box\n", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"settings\.toml isn't the settings: .*mend it"):
        read_settings()


def test_a_folder_that_cannot_be_made(home: Path) -> None:
    # Known input: a file where the folder should be.
    home.write_text("", encoding="utf-8")
    with pytest.raises(SettingsError, match="can't make the folder"):
        write_settings(Settings(rate_hz=48_000))
