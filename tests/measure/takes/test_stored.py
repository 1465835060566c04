"""Reading a take, and refusing one that can't be used."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from measure.errors import MeasureError, SheetError, TakeError
from measure.takes.facts import Driver, Level, Occasion, Played, Sound, TakeFacts
from measure.takes.folder import begin_take
from measure.takes.stored import read_take

RATE_HZ = 44_100
TEXT = "utf-8"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a take that no test changes."""
    sweep = Sweep(start_hz=100.0, stop_hz=10_000.0, duration_s=0.2, level_dbfs=-20.0)
    unfinished = begin_take(
        tmp_path_factory.mktemp("takes"), "before", sample_rate_hz=RATE_HZ, n_channels=1
    )
    unfinished.write_programme(
        Programme(sweep=sweep, order="LR", sample_rate_hz=RATE_HZ, lead_in_s=0.1, tail_s=0.2)
    )
    unfinished.write(np.random.default_rng(8).uniform(-1, 1, (1, 4000)))
    return unfinished.finish(
        TakeFacts(
            take=Occasion(name="before", started=datetime(2026, 3, 1, 20, 15, tzinfo=UTC)),
            device=Sound(path="a test", sample_rate_hz=RATE_HZ),
            level=Level(level_dbfs=-20.0),
            programme=Played(planned_order="LR", played_order="LR"),
            driver=Driver(n_xruns=0),
        )
    )


@pytest.fixture
def take(made: Path, tmp_path: Path) -> Path:
    """Return a copy to damage."""
    return Path(shutil.copytree(made, tmp_path / "before"))


def test_a_copy_is_as_good(take: Path) -> None:
    assert read_take(take).facts.take.name == "before"
    assert read_take(take).programme.order == "LR"


def change(path: Path, old: str, new: str) -> None:
    """Replace a text in a file that holds it."""
    text = path.read_text(encoding=TEXT)
    assert old in text
    path.write_text(text.replace(old, new), encoding=TEXT)


def changed_sample(take: Path) -> None:
    samples, rate_hz = soundfile.read(take / "recording.wav", dtype="float32")
    samples[1234] += 1e-6
    soundfile.write(take / "recording.wav", samples, rate_hz, subtype="FLOAT")


def cut_recording(take: Path) -> None:
    samples, rate_hz = soundfile.read(take / "recording.wav", dtype="float32")
    soundfile.write(take / "recording.wav", samples[:-1], rate_hz, subtype="FLOAT")


def other_rate(take: Path) -> None:
    samples, _ = soundfile.read(take / "recording.wav", dtype="float32")
    soundfile.write(take / "recording.wav", samples, 48_000, subtype="FLOAT")


DAMAGES = {
    "no folder": (shutil.rmtree, TakeError, r"before doesn't exist"),
    "empty folder": (
        lambda take: (shutil.rmtree(take), take.mkdir()),
        TakeError,
        r"isn't a take, it holds no take\.toml",
    ),
    "no recording": (
        lambda take: (take / "recording.wav").unlink(),
        TakeError,
        r"recording\.wav is missing",
    ),
    "no sheet": (
        lambda take: (take / "programme.sheet.toml").unlink(),
        TakeError,
        r"programme\.sheet\.toml is missing",
    ),
    "no facts": (lambda take: (take / "take.toml").unlink(), TakeError, r"isn't complete"),
    "damaged facts": (
        lambda take: (take / "take.toml").write_text("schema = ", encoding=TEXT),
        TakeError,
        r"take\.toml isn't the facts of a take",
    ),
    "facts cut in half": (
        lambda take: change(take / "take.toml", "[driver]", "[driver"),
        TakeError,
        r"take\.toml isn't the facts of a take",
    ),
    "unknown key": (
        lambda take: change(take / "take.toml", "level_dbfs", "loudness"),
        TakeError,
        r"take\.toml: \[level\]",
    ),
    "wrong kind": (
        lambda take: change(take / "take.toml", "n_xruns = 0", 'n_xruns = "none"'),
        TakeError,
        r"\[driver\] n_xruns must be a whole number",
    ),
    "later schema": (
        lambda take: (take / "take.toml").write_text("schema = 3\nnew = 1\n", encoding=TEXT),
        TakeError,
        r"take\.toml has schema 3, but this program reads 1: use the version of apexline that",
    ),
    "changed sample": (changed_sample, TakeError, r"its checksum is another"),
    "cut recording": (cut_recording, TakeError, r"holds 3999 frames, but 4000 were recorded"),
    "other rate": (other_rate, TakeError, r"isn't what was recorded"),
    "no sound": (
        lambda take: (take / "recording.wav").write_bytes(b"RIFF"),
        TakeError,
        r"recording\.wav isn't a sound file",
    ),
    "empty recording": (
        lambda take: (take / "recording.wav").write_bytes(b""),
        TakeError,
        r"recording\.wav is empty",
    ),
    "damaged sheet": (
        lambda take: change(take / "programme.sheet.toml", "order", "sequence"),
        SheetError,
        r"sheet\.toml",
    ),
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_take_is_refused_in_one_sentence(take: Path, damage: str) -> None:
    # Known input: each damage done once.
    harm, error, said = DAMAGES[damage]
    assert callable(harm)
    harm(take)
    with pytest.raises(error, match=said) as told:
        read_take(take)
    assert isinstance(told.value, MeasureError)
    assert "\n" not in str(told.value)


def test_a_file_is_no_take(take: Path) -> None:
    with pytest.raises(TakeError, match="isn't a folder"):
        read_take(take / "take.toml")


def test_without_verifying_the_recording_is_not_read(take: Path) -> None:
    changed_sample(take)
    assert read_take(take, verify=False).recorded.n_frames == 4000
