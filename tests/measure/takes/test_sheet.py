"""The sheet beside a sweep."""

from __future__ import annotations

import itertools
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from measure.errors import SheetError
from measure.files.audio_files import write_sound
from measure.files.output import text_writer, write_whole
from measure.sound.stimulus import checksum, make_programme, programme_samples
from measure.takes.sheet import check_sound, read_sheet, sheet_path, sheet_text

SHA256 = "0" * 64


@pytest.fixture
def programme() -> Programme:
    sweep = Sweep(start_hz=20.0, stop_hz=20_000.0, duration_s=2.0, level_dbfs=-20.0)
    return Programme(sweep=sweep, order="LRRL", sample_rate_hz=48_000, lead_in_s=0.5, tail_s=0.8)


@pytest.fixture
def text(programme: Programme) -> str:
    return sheet_text(programme, sha256=SHA256, version="1.2.3")


def test_the_sheet_says_everything(programme: Programme, text: str) -> None:
    # Known input, read by the standard library.
    assert tomllib.loads(text) == {
        "schema": 1,
        "made_by": "apexline 1.2.3",
        "sha256": SHA256,
        "sweep": {
            "start_hz": 20,
            "stop_hz": 20_000,
            "duration_s": 2,
            "level_dbfs": -20,
            "top_taper_db": programme.sweep.top_taper_db,
        },
        "programme": {
            "order": "LRRL",
            "sample_rate_hz": 48_000,
            "lead_in_s": 0.5,
            "tail_s": 0.8,
            "starts_s": list(programme.starts_s),
        },
    }


def test_every_key_is_documented(text: str) -> None:
    # Truth: the sheet itself; docs/sheet.md must keep up with it.
    documented = (Path(__file__).parents[3] / "docs" / "sheet.md").read_text(encoding="utf-8")
    content = tomllib.loads(text)
    keys = {"schema", "made_by", "sha256"}
    keys |= {f"{table}.{key}" for table in ("sweep", "programme") for key in content[table]}
    assert {key for key in keys if f"`{key}`" not in documented} == set()


def test_every_key_has_its_comment(text: str) -> None:
    lines = text.splitlines()
    for before, line in itertools.pairwise(lines):
        if " = " in line and not line.startswith("#"):
            assert before.startswith("# "), line


@settings(max_examples=50, deadline=None)
@given(
    start_hz=st.floats(1, 100),
    octaves=st.floats(2, 7),
    duration_s=st.floats(0.1, 60),
    level_dbfs=st.floats(-80, 0),
    order=st.text("LR", min_size=1, max_size=16),
    rate_hz=st.integers(44_100, 192_000),
    lead_in_s=st.floats(0, 5),
    tail_s=st.floats(0, 10),
)
def test_what_is_written_is_read_to_the_last_digit(
    tmp_path_factory: pytest.TempPathFactory,
    start_hz: float,
    octaves: float,
    duration_s: float,
    level_dbfs: float,
    order: str,
    rate_hz: int,
    lead_in_s: float,
    tail_s: float,
) -> None:
    # Invariant: a round trip through the text is exact.
    made = Programme(
        sweep=Sweep(
            start_hz=start_hz,
            stop_hz=start_hz * 2**octaves,
            duration_s=duration_s,
            level_dbfs=level_dbfs,
        ),
        order=order,
        sample_rate_hz=rate_hz,
        lead_in_s=lead_in_s,
        tail_s=tail_s,
    )
    path = tmp_path_factory.mktemp("sheet") / "a.sheet.toml"
    write_whole(path, text_writer(sheet_text(made, sha256=SHA256, version="0")))
    assert read_sheet(path) == (made, SHA256)


def test_the_sheet_is_found_beside_the_sound(
    tmp_path: Path, programme: Programme, text: str
) -> None:
    # The sound file may be anywhere else, or have become another kind.
    write_whole(sheet_path(tmp_path / "my.sweep.wav"), text_writer(text))
    for name in ("my.sweep.wav", "my.sweep.flac", "my.sweep.sheet.toml"):
        assert read_sheet(tmp_path / name)[0] == programme


def test_a_lost_sheet_says_how_to_make_it_again(tmp_path: Path) -> None:
    (tmp_path / "a.wav").touch()
    with pytest.raises(SheetError, match=r"a\.sheet\.toml is missing.*apexline sweep"):
        read_sheet(tmp_path / "a.wav")
    with pytest.raises(SheetError, match=r"b\.wav doesn't exist"):
        read_sheet(tmp_path / "b.wav")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("schema = 1", "schema = 2", "schema 2, but this program reads 1"),
        ("start_hz = 20.0", "", r"\[sweep\]: the key start_hz is missing"),
        ("start_hz = 20.0", 'start_hz = "20"', r"start_hz must be a number"),
        ("start_hz = 20.0", "start_hz = 20,0", "line 1[0-9] has a decimal comma"),
        ("start_hz = 20.0", "start_hz = nan", "start nan Hz"),
        ("start_hz = 20.0", "start_hz = 30000.0", "must lie above 0 and below stop"),
        ("stop_hz = 20000.0", "stop_hz = 24000.0", "below half of sample_rate_hz"),
        ("sample_rate_hz = 48000", "sample_rate_hz = 0", "sample_rate_hz 0 must lie"),
        ("sample_rate_hz = 48000", "sample_rate_hz = 48000.5", "must be a whole number"),
        ("duration_s = 2.0", "duration_s = inf", "duration_s inf is impossible"),
        ("level_dbfs = -20.0", "level_dbfs = -inf", "level_dbfs -inf"),
        ("tail_s = 0.8", "tail_s = inf", "tail_s inf must lie"),
        ("tail_s = 0.8", "tail_s = 0.9", "starts_s don't fit"),
        ('order = "LRRL"', 'order = "LRR"', "starts_s don't fit"),
        ('order = "LRRL"', 'order = "LMRL"', "letters L and R"),
        ("[programme]", "[program]", "isn't known"),
        ("[sweep]", "[sweep", "isn't the sheet of a sweep"),
        ("lead_in_s = 0.5", "lead_in_s = 0.5\nnight = true", "the key night isn't known"),
    ],
)
def test_a_damaged_sheet_is_refused(
    tmp_path: Path, text: str, old: str, new: str, message: str
) -> None:
    assert old in text
    (tmp_path / "a.sheet.toml").write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(SheetError, match=message):
        read_sheet(tmp_path / "a.sheet.toml")


def test_starts_left_empty_are_refused(tmp_path: Path, text: str) -> None:
    head = text[: text.index("starts_s = [")]
    (tmp_path / "a.sheet.toml").write_text(head + "starts_s = []\n", encoding="utf-8")
    with pytest.raises(SheetError, match="starts_s don't fit"):
        read_sheet(tmp_path / "a.sheet.toml")


def test_a_sheet_that_is_no_text(tmp_path: Path) -> None:
    (tmp_path / "a.sheet.toml").write_bytes(b"schema = 1\n\xff\xfe\n")
    with pytest.raises(SheetError, match="line 2: isn't UTF-8"):
        read_sheet(tmp_path / "a.sheet.toml")


def test_sweep_file_is_held_against_its_sheet(tmp_path: Path) -> None:
    """Known input: the file as written passes, another sweep under its name does not."""
    programme = make_programme(
        start_hz=50,
        stop_hz=15_000,
        duration_s=0.5,
        level_dbfs=-20,
        rate_hz=48_000,
        order="LR",
        tail_s=0.3,
    )
    samples = programme_samples(programme)
    sound = tmp_path / "sweep.wav"
    write_sound(sound, samples, 48_000, encoding="PCM_24")
    check_sound(sound, checksum(samples))
    check_sound(tmp_path / "sweep.sheet.toml", "anything")
    write_sound(sound, samples * 0.5, 48_000, encoding="PCM_24")
    with pytest.raises(SheetError, match="doesn't hold what its sheet"):
        check_sound(sound, checksum(samples))
