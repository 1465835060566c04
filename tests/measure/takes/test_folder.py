"""The folder of a take: written as it arrives."""

from __future__ import annotations

import shutil
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import numpy as np
import pytest

from analysis.signals.programme import Programme
from measure.errors import TakeError
from measure.files.audio_files import read_sound
from measure.takes.facts import Driver, Level, Occasion, Played, Sound, TakeFacts
from measure.takes.folder import MOST_PLACES, UnfinishedTake, begin_take
from measure.takes.sheet import check_sound, read_sheet
from measure.takes.stored import read_take

RATE_HZ = 48_000


@pytest.fixture
def facts() -> TakeFacts:
    return TakeFacts(
        take=Occasion(name="before", started=datetime(2026, 3, 1, 20, 15, tzinfo=UTC)),
        device=Sound(path="a test", sample_rate_hz=RATE_HZ),
        level=Level(level_dbfs=-20.0),
        programme=Played(planned_order="LRRL", played_order="LRRL"),
        driver=Driver(n_xruns=0),
    )


def begin(folder: Path, name: str = "before", *, n_channels: int = 1) -> UnfinishedTake:
    return begin_take(folder, name, sample_rate_hz=RATE_HZ, n_channels=n_channels)


def test_a_take_is_written_and_read_back(
    tmp_path: Path, facts: TakeFacts, programme: Programme
) -> None:
    # Known input.
    samples = np.random.default_rng(5).uniform(-1, 1, (2, 40_000)).astype(np.float32)
    unfinished = begin(tmp_path / "log" / "2026", n_channels=2)
    assert unfinished.path.name == "before.unfinished"
    unfinished.write_programme(programme)
    for block in np.split(samples, 8, axis=1):
        unfinished.write(block)
    (unfinished.path / "reading.json").write_text("{}", encoding="utf-8")
    path = unfinished.finish(facts)
    assert path == tmp_path / "log" / "2026" / "before"
    assert {file.name for file in path.iterdir()} == {
        "recording.wav",
        "programme.wav",
        "programme.sheet.toml",
        "reading.json",
        "take.toml",
    }
    assert [one.name for one in path.parent.iterdir()] == ["before"]
    take = read_take(path)
    assert take.facts == facts
    assert take.programme == programme
    assert take.recorded.n_frames == 40_000
    assert take.recorded.n_never_delivered == 0
    assert (take.reading, take.responses) == (path / "reading.json", None)
    assert np.array_equal(read_sound(take.recording).samples, samples)
    played = read_sound(path / "programme.wav")
    assert played.encoding == "PCM_24"
    check_sound(played.path, read_sheet(take.sheet)[1])


def test_what_was_never_delivered_is_zero_and_noted(
    tmp_path: Path, facts: TakeFacts, programme: Programme
) -> None:
    # Known input: gaps within a block, over a border of blocks, and in one channel only.
    samples = np.full((2, 30_000), 0.5)
    samples[:, 100:150] = np.nan
    samples[0, 9990:10_020] = np.nan
    samples[1, 29_999] = np.inf
    unfinished = begin(tmp_path, n_channels=2)
    unfinished.write_programme(programme)
    for block in np.split(samples, 3, axis=1):
        unfinished.write(block)
    take = read_take(unfinished.finish(facts))
    assert take.recorded.never_delivered == ((100, 50), (9990, 30), (29_999, 1))
    assert take.recorded.n_never_delivered == 81
    kept = read_sound(take.recording).samples
    assert np.array_equal(kept, np.where(np.isfinite(samples), samples, 0))


def test_of_many_gaps_the_first_are_noted_and_all_counted(
    tmp_path: Path, facts: TakeFacts, programme: Programme
) -> None:
    # Known input: every second frame.
    samples = np.full((1, 1000), 0.5)
    samples[0, ::2] = np.nan
    unfinished = begin(tmp_path)
    unfinished.write_programme(programme)
    unfinished.write(samples)
    recorded = read_take(unfinished.finish(facts)).recorded
    assert recorded.n_never_delivered == 500
    assert recorded.never_delivered == tuple((2 * number, 1) for number in range(MOST_PLACES))


def test_a_take_is_never_replaced(tmp_path: Path, facts: TakeFacts, programme: Programme) -> None:
    unfinished = begin(tmp_path)
    unfinished.write_programme(programme)
    path = unfinished.finish(facts)
    before = (path / "take.toml").read_bytes()
    with pytest.raises(TakeError, match="already"):
        begin(tmp_path)
    with pytest.raises(TakeError, match="already"):
        begin(tmp_path, "before.")
    assert [one.name for one in tmp_path.iterdir()] == ["before"]
    assert (path / "take.toml").read_bytes() == before


def test_unfinished_takes_of_one_name_stand_beside_each_other(
    tmp_path: Path, facts: TakeFacts, programme: Programme
) -> None:
    # Two programs at once: none touches the other's, and both are kept.
    first, second, third = (begin(tmp_path) for _ in range(3))
    assert [one.path.name for one in (first, second, third)] == [
        "before.unfinished",
        "before-2.unfinished",
        "before-3.unfinished",
    ]
    for number, one in enumerate((first, second)):
        one.write_programme(programme)
        one.write(np.full((1, 100), number + 0.25))
    assert second.finish(facts).name == "before"
    assert first.finish(facts).name == "before-2"
    assert read_take(tmp_path / "before").recorded != read_take(tmp_path / "before-2").recorded
    assert third.path.exists()


def test_an_abandoned_take_keeps_its_recording_and_says_why(
    tmp_path: Path, programme: Programme
) -> None:
    unfinished = begin(tmp_path)
    unfinished.write_programme(programme)
    unfinished.write(np.full((1, 36_000), 0.5))
    path = unfinished.abandon("the microphone was unplugged")
    assert path.name == "before.unfinished"
    said = tomllib.loads((path / "unfinished.toml").read_text(encoding="utf-8"))
    assert said["reason"] == "the microphone was unplugged"
    assert said["recorded_s"] == 0.75
    assert isinstance(said["written"], datetime)
    assert said["written"].utcoffset() is not None
    assert read_sound(path / "recording.wav").samples.shape == (1, 36_000)
    with pytest.raises(TakeError, match=r"isn't complete \(the microphone was unplugged\)"):
        read_take(path)


def test_a_take_that_was_cut_off_says_so(tmp_path: Path) -> None:
    # As a power cut leaves it: nobody had time to say anything.
    unfinished = begin(tmp_path)
    unfinished.write(np.full((1, 100), 0.5))
    with pytest.raises(TakeError, match="ended before the take was complete"):
        read_take(unfinished.path)
    (unfinished.path / "unfinished.toml").write_bytes(b"\xff")
    with pytest.raises(TakeError, match="ended before the take was complete"):
        read_take(unfinished.path)


def test_the_reason_from_the_start_stays_where_none_can_be_written(tmp_path: Path) -> None:
    unfinished = begin(tmp_path)
    shutil.rmtree(unfinished.path)
    assert unfinished.abandon("the disk was unplugged") == unfinished.path


def test_a_take_that_cannot_be_completed_stays_unfinished(
    tmp_path: Path, facts: TakeFacts, programme: Programme, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: the system refuses the last step.
    unfinished = begin(tmp_path)
    unfinished.write_programme(programme)
    unfinished.write(np.full((1, 100), 0.5))

    def refuse(*_: object) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(TakeError, match=r"can't complete .*Input/output error"):
        unfinished.finish(facts)
    assert (tmp_path / "before.unfinished" / "recording.wav").exists()
    assert not (tmp_path / "before").exists()


def test_finish_wants_the_programme_and_facts_of_their_kind(
    tmp_path: Path, facts: TakeFacts, programme: Programme
) -> None:
    unfinished = begin(tmp_path)
    with pytest.raises(ValueError, match="write_programme"):
        unfinished.finish(facts)
    unfinished.write_programme(programme)
    no_offset = msgspec.structs.replace(facts.take, started=datetime(2026, 3, 1))
    with pytest.raises(ValueError, match="started"):
        unfinished.finish(msgspec.structs.replace(facts, take=no_offset))
    assert not (unfinished.path / "take.toml").exists()


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(TakeError, match=r"file\" is a file, so no take"):
        begin(tmp_path / "file")


def test_a_folder_without_rights_is_told(ordinary_folder: Path) -> None:
    ordinary_folder.chmod(0o500)
    with pytest.raises(TakeError, match="nothing can be written into the folder"):
        begin(ordinary_folder)
    with pytest.raises(TakeError, match="nothing can be written into the folder"):
        begin(ordinary_folder / "new")
    ordinary_folder.chmod(0o000)
    with pytest.raises(TakeError, match="can't look for"):
        begin(ordinary_folder / "new")


def test_the_given_name_is_kept_whatever_the_folder_is_called(
    tmp_path: Path, facts: TakeFacts, programme: Programme
) -> None:
    name = 'a/b: "é🎵" ' + "x" * 300
    unfinished = begin(tmp_path, name)
    unfinished.write_programme(programme)
    named = msgspec.structs.replace(facts.take, name=name)
    path = unfinished.finish(msgspec.structs.replace(facts, take=named))
    assert path.parent == tmp_path
    assert path.name.startswith("a-b- -é🎵- xxx")
    assert read_take(path).facts.take.name == name
