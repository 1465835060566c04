"""A recording that is written as it arrives."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import time
from collections import namedtuple
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from measure.errors import AudioFileError, TakeError
from measure.files.audio_files import fingerprint, read_sound
from measure.takes import streamed_wav
from measure.takes.streamed_wav import StreamedWav

ROOT = Path(__file__).parents[3]

# A float file carries its highest sample in a chunk that this other library doesn't know.
pytestmark = pytest.mark.filterwarnings("ignore:Chunk .non-data. not understood")

KILLED_WRITERS = """
import json, os, random, signal, sys, time
import numpy as np
from pathlib import Path
from measure.takes.streamed_wav import StreamedWav

results = []
for number in range(20):
    path = Path(sys.argv[1]) / f"{number}.wav"
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        wav = StreamedWav(path, 48_000, 2)
        while True:
            ramp = np.arange(wav.n_frames, wav.n_frames + 480) / 2**20
            wav.write([ramp, -ramp])
            os.write(writing, wav.n_frames.to_bytes(8, "little"))
    os.close(writing)
    first = os.read(reading, 8)
    time.sleep(random.Random(number).uniform(0, 0.06))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    told = first
    while more := os.read(reading, 1 << 20):
        told += more
    results.append([str(path), int.from_bytes(told[-8:], "little")])
print(json.dumps(results))
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system can't fork")
def test_a_killed_writer_leaves_all_that_it_had_written(tmp_path: Path) -> None:
    # Known input: a ramp, so every sample says where it belongs; twenty writers are killed
    # at moments of no one's choosing.
    done = subprocess.run(
        [sys.executable, "-c", KILLED_WRITERS, str(tmp_path)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        check=True,
        timeout=60,
    )
    results = json.loads(done.stdout)
    assert len(results) == 20
    for name, n_written in results:
        found = fingerprint(Path(name))
        assert found.n_frames >= n_written > 0
        _, samples = wavfile.read(name)  # second method
        ramp = np.arange(found.n_frames) / 2**20
        assert np.array_equal(samples.T, [ramp, -ramp])


def test_the_file_can_be_read_after_every_write(tmp_path: Path) -> None:
    # Known input, read by the reader that recordings go through, and by another library.
    rng = np.random.default_rng(3)
    wav = StreamedWav(tmp_path / "r.wav", 44_100, 1)
    blocks = [rng.uniform(-2, 2, (1, n)).astype(np.float32) for n in (30_000, 1, 0, 7, 5000)]
    for number in range(len(blocks)):
        wav.write(blocks[number])
        so_far = np.concatenate(blocks[: number + 1], axis=1)
        sound = read_sound(wav.path)
        assert not sound.truncated
        assert (sound.encoding, sound.sample_rate_hz) == ("FLOAT", 44_100)
        assert np.array_equal(sound.samples, so_far)
        assert wav.n_frames == so_far.shape[1]
        assert wav.sha256 == fingerprint(wav.path).sha256
    rate_hz, samples = wavfile.read(wav.path)
    assert rate_hz == 44_100
    assert hashlib.sha256(samples.astype("<f4").tobytes()).hexdigest() == wav.sha256


def test_the_checksum_goes_frame_by_frame(tmp_path: Path) -> None:
    # Closed form: the bytes of two frames of two channels, written out.
    wav = StreamedWav(tmp_path / "r.wav", 48_000, 2)
    wav.write([[1.0, 0.0], [-2.0, 0.0]])
    told = bytes.fromhex("0000803f 000000c0 00000000 00000000")
    assert wav.sha256 == hashlib.sha256(told).hexdigest()


def test_an_existing_file_is_never_replaced(tmp_path: Path) -> None:
    path = tmp_path / "r.wav"
    path.write_bytes(b"something recorded")
    with pytest.raises(TakeError, match="exists already"):
        StreamedWav(path, 48_000, 1)
    assert path.read_bytes() == b"something recorded"


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(TakeError, match=r"can't write .*nowhere"):
        StreamedWav(tmp_path / "nowhere" / "r.wav", 48_000, 1)


@contextmanager
def no_file_longer_than(n_bytes: int) -> Iterator[None]:
    """Let the system refuse longer files, as a full disk does."""
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_full_disk_is_told_and_what_was_written_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: the system takes a part of the third block.
    wav = StreamedWav(tmp_path / "r.wav", 48_000, 2)
    block = np.full((2, 24_000), 0.25, dtype=np.float32)
    wav.write(block)
    wav.write(block)
    size = wav.path.stat().st_size
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(1, 1, 0))
    with no_file_longer_than(size + 1001), pytest.raises(TakeError, match="disk is full") as told:
        wav.write(block)
    assert "make room, or record to another disk" in str(told.value)
    assert "\n" not in str(told.value)
    sound = read_sound(wav.path)
    assert 48_000 <= sound.samples.shape[1] < 72_000
    assert (sound.samples == 0.25).all()
    # With room again it still doesn't go on: the file holds a part that nobody counted.
    with pytest.raises(TakeError, match="disk is full"):
        wav.write(block)
    with pytest.raises(TakeError, match="disk is full"):
        wav.sync()


def test_a_disk_that_fails_later_is_told_at_the_next_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: bringing the file to the disk fails, as with one that was unplugged.
    def refuse(_: Path) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(streamed_wav, "SYNC_EVERY_S", 0.0)
    monkeypatch.setattr(streamed_wav, "sync_file", refuse)
    wav = StreamedWav(tmp_path / "r.wav", 48_000, 1)

    def keep_writing() -> None:
        for _ in range(100):
            wav.write([[0.5]])
            time.sleep(0.01)

    with pytest.raises(TakeError, match="Input/output error"):
        keep_writing()
    assert read_sound_frames(wav.path) >= 1


def test_a_write_that_is_interrupted_is_the_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: Ctrl-C within a write; more would stand behind an unknown part.
    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    wav = StreamedWav(tmp_path / "r.wav", 48_000, 1)
    wav.write([[0.5]])
    monkeypatch.setattr(streamed_wav, "append_wav", interrupt)
    with pytest.raises(KeyboardInterrupt):
        wav.write([[0.5]])
    monkeypatch.undo()
    with pytest.raises(TakeError, match="was interrupted"):
        wav.write([[0.5]])
    assert wav.n_frames == read_sound_frames(wav.path) == 1


def read_sound_frames(path: Path) -> int:
    return fingerprint(path).n_frames


def test_another_reason_is_told_as_the_system_says_it(tmp_path: Path) -> None:
    wav = StreamedWav(tmp_path / "r.wav", 48_000, 1)
    wav.path.unlink()
    with pytest.raises(TakeError, match="can't go on writing"):
        wav.write([[0.5]])


@pytest.mark.parametrize(
    ("samples", "said"),
    [([0.1, 0.2], r"\(2,\)"), ([[0.1], [0.2], [0.3]], r"\(3, 1\)"), ([[0.1], [np.nan]], "finite")],
)
def test_wrong_samples_are_refused(samples: list[float], said: str, tmp_path: Path) -> None:
    wav = StreamedWav(tmp_path / "r.wav", 48_000, 2)
    with pytest.raises(ValueError, match=said):
        wav.write(samples)
    assert wav.n_frames == 0


def test_a_fingerprint_wants_a_sound_file(tmp_path: Path) -> None:
    path = tmp_path / "x.wav"
    path.write_bytes(b"no sound")
    with pytest.raises(AudioFileError, match="isn't a sound file"):
        fingerprint(path)
