"""Nothing is played before the cautions are accepted, once for each text."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.errors import UnsafeError
from measure.safety import cautions as caution_consent
from measure.safety.cautions import OPTION, consent, live_cautions, reminder


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "home" / "apexline"
    monkeypatch.setenv("APEXLINE_HOME", str(folder))
    return folder


def never(question: str) -> str:
    msg = f"asked: {question}"
    raise AssertionError(msg)


def test_yes_is_asked_for_once_and_then_only_reminded() -> None:
    # Known input: what the person types.
    asked: list[str] = []

    def ask(text: str) -> str:
        asked.append(text)
        return " Yes\n"

    assert consent(ask, accepted_by_option=False) == reminder()
    assert asked[0].startswith(live_cautions())
    assert consent(never, accepted_by_option=False) == reminder()
    assert consent(None, accepted_by_option=False) == reminder()


@pytest.mark.parametrize("answer", ["", "y", "no", "yes!", "ja"])
def test_anything_else_plays_nothing(answer: str) -> None:
    with pytest.raises(UnsafeError, match="nothing was played"):
        consent(lambda _: answer, accepted_by_option=False)
    with pytest.raises(UnsafeError, match=OPTION):
        consent(None, accepted_by_option=False)


def test_the_option_accepts_and_shows_all_of_them() -> None:
    assert consent(None, accepted_by_option=True) == live_cautions()
    assert consent(never, accepted_by_option=True) == reminder()


def test_another_text_asks_again(monkeypatch: pytest.MonkeyPatch) -> None:
    # Invariant: line ends don't matter, words do.
    consent(None, accepted_by_option=True)
    text = live_cautions()
    monkeypatch.setattr(caution_consent, "live_cautions", lambda: text.replace("\n", "\r\n"))
    assert consent(never, accepted_by_option=False) == reminder()
    monkeypatch.setattr(caution_consent, "live_cautions", lambda: text.replace("Ears", "Eyes"))
    with pytest.raises(UnsafeError, match=OPTION):
        consent(None, accepted_by_option=False)


@pytest.mark.parametrize("rubbish", [b"", b"\xff\xfe\x00", b"Cautions accepted\n"])
def test_a_damaged_memory_asks_again(rubbish: bytes, home: Path) -> None:
    home.mkdir(parents=True)
    (home / "cautions_accepted.txt").write_bytes(rubbish)
    with pytest.raises(UnsafeError, match=OPTION):
        consent(None, accepted_by_option=False)
    assert consent(None, accepted_by_option=True) == live_cautions()


def test_what_cannot_be_kept_is_said_and_asked_again(
    ordinary_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: a state folder that can't be made.
    ordinary_folder.chmod(0o500)
    monkeypatch.setenv("APEXLINE_HOME", str(ordinary_folder / "state"))
    shown = consent(lambda _: "yes", accepted_by_option=False)
    assert "asked again next time" in shown.removeprefix(reminder())
    with pytest.raises(UnsafeError, match=OPTION):
        consent(None, accepted_by_option=False)


def test_the_texts_name_who_can_be_hurt_and_fit_a_terminal() -> None:
    # Known input: the files that ship with the package.
    text = live_cautions().lower()
    for word in ("ears", "tweeters", "pets", "children", "neighbours", "amplifier", "cables"):
        assert word in text
    assert len(reminder().splitlines()) == 2
    assert max(map(len, (live_cautions() + reminder()).splitlines())) <= 88
