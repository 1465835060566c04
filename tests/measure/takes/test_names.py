"""How the folder of a take is called."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.errors import TakeError
from measure.takes.names import LONGEST_BYTES, folder_name


@pytest.mark.parametrize(
    ("given_name", "folder"),
    [
        ("before", "before"),
        ("left 20 mm back", "left 20 mm back"),
        ("  two   spaces\tand a tab ", "two spaces and a tab"),
        ("Büro, große Boxen", "Büro, große Boxen"),
        ("cafe\u0301", "caf\u00e9"),
        ("リビング", "リビング"),
        ("loud 🎵", "loud 🎵"),
        ("a/b\\c", "a-b-c"),
        ('what? "this": <yes> | 2*', "what- -this-- -yes- - 2-"),
        ("../../etc", "etc"),
        ("...", "take"),
        ("///", "take"),
        (".hidden", "hidden"),
        ("--json", "json"),
        ("end. . ", "end"),
        ("con", "take-con"),
        ("NUL.2", "take-NUL.2"),
        ("COM1", "take-COM1"),
        ("lpt³", "take-lpt³"),
        ("console", "console"),
        ("line\nbreak\0", "line break-"),
        ("a\u200db", "ab"),
        ("lone \ud800", "lone -"),
        ("old.unfinished", "old-unfinished"),
        ("é" * 300, "é" * (LONGEST_BYTES // 2)),
    ],
)
def test_names_become_folder_names(given_name: str, folder: str) -> None:
    # Known input, by the rules of the three systems (Windows' from memory).
    assert folder_name(given_name) == folder


@pytest.mark.parametrize("empty", ["", "  ", "\n"])
def test_an_empty_name_is_refused(empty: str) -> None:
    with pytest.raises(TakeError, match="has no name"):
        folder_name(empty)


@settings(max_examples=100, deadline=None)
@given(st.text(min_size=1, max_size=300).filter(str.strip))
def test_whatever_the_name_the_folder_is_safe_and_stays_as_it_is(name: str) -> None:
    # Invariant.
    folder = folder_name(name)
    assert folder_name(folder) == folder
    assert 0 < len(folder.encode()) <= LONGEST_BYTES
    assert not set(folder) & set('<>:"/\\|?*\0\n')
    assert folder[0] not in " .-~"
    assert folder[-1] not in " ."
    assert folder.split(".")[0].strip().upper() not in {"CON", "PRN", "AUX", "NUL", "COM1", "LPT9"}
    assert not folder.lower().endswith(".unfinished")
    assert unicodedata.is_normalized("NFC", folder)
    assert Path(folder).name == folder
