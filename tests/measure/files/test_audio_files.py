"""Sound files, sound and unsound."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from measure.errors import AudioFileError
from measure.files.audio_files import read_sound, write_sound

RATE_HZ = 48_000

STEPS = {"PCM_U8": 2**7, "PCM_16": 2**15, "PCM_24": 2**23, "PCM_32": 2**31}


@pytest.fixture
def noise() -> NDArray[np.float64]:
    return np.random.default_rng(1).uniform(-0.5, 0.5, (2, RATE_HZ))


def stored(path: Path, samples: NDArray[np.float64], encoding: str = "PCM_16") -> Path:
    soundfile.write(path, samples.T, RATE_HZ, subtype=encoding)
    return path


@pytest.mark.parametrize("encoding", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_wav_of_any_depth_is_read(
    tmp_path: Path, noise: NDArray[np.float64], encoding: str
) -> None:
    # Known input, to within half a step of the encoding (one where the library truncates).
    sound = read_sound(stored(tmp_path / "a.wav", noise, encoding))
    assert sound.encoding == encoding
    assert sound.sample_rate_hz == RATE_HZ
    assert not sound.truncated
    step = 1 / STEPS.get(encoding, 2**24)
    np.testing.assert_allclose(sound.samples, noise, rtol=0, atol=1.01 * step)


@pytest.mark.parametrize(("encoding", "bits"), [("PCM_16", 16), ("PCM_24", 24)])
def test_flac_and_wav_read_alike(tmp_path: Path, encoding: str, bits: int) -> None:
    # Second method: two codecs of the same integers, which the library takes left-justified.
    steps = np.random.default_rng(2).integers(-(2 ** (bits - 1)), 2 ** (bits - 1), (2, RATE_HZ))
    for name in ("a.wav", "a.flac"):
        left_justified = (steps << (32 - bits)).astype(np.int32)
        soundfile.write(tmp_path / name, left_justified.T, RATE_HZ, subtype=encoding)
        sound = read_sound(tmp_path / name)
        np.testing.assert_array_equal(sound.samples, steps / 2 ** (bits - 1))


def test_twelve_channels_keep_their_order(tmp_path: Path) -> None:
    # Known input: channel k holds the constant k / 16.
    samples = np.repeat(np.arange(12)[:, None] / 16, RATE_HZ, axis=1)
    sound = read_sound(stored(tmp_path / "a.wav", samples))
    np.testing.assert_array_equal(sound.samples, samples)


@settings(max_examples=20, deadline=None)
@given(
    data=st.data(),
    encoding=st.sampled_from(["PCM_24", "FLOAT"]),
    n_channels=st.integers(1, 3),
)
def test_what_is_written_is_read(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject, encoding: str, n_channels: int
) -> None:
    # Invariant: a round trip of 24-bit integers is exact in both encodings.
    seed = data.draw(st.integers(0, 2**32 - 1))
    steps = np.random.default_rng(seed).integers(-(2**23), 2**23, (n_channels, RATE_HZ))
    path = tmp_path_factory.mktemp("round") / "a.wav"
    write_sound(path, steps / 2**23, RATE_HZ, encoding=encoding)
    np.testing.assert_array_equal(read_sound(path).samples, steps / 2**23)


def test_float_above_full_scale_survives(tmp_path: Path, noise: NDArray[np.float64]) -> None:
    # Known input: PCM would clip this silently.
    write_sound(tmp_path / "a.wav", 10 * noise, RATE_HZ)
    np.testing.assert_allclose(read_sound(tmp_path / "a.wav").samples, 10 * noise, rtol=1e-6)


def test_pcm_that_would_clip_is_refused(tmp_path: Path, noise: NDArray[np.float64]) -> None:
    with pytest.raises(AudioFileError, match="would clip"):
        write_sound(tmp_path / "a.wav", 10 * noise, RATE_HZ, encoding="PCM_24")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_a_file_cut_short_is_read_as_far_as_it_goes(
    tmp_path: Path, noise: NDArray[np.float64], name: str
) -> None:
    # Known input: half of the file is left.
    path = stored(tmp_path / name, np.tile(noise, 4))
    whole = read_sound(path)
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 2 + 1)
    cut = read_sound(path)
    n_samples = cut.samples.shape[1]
    assert cut.truncated
    assert 0.3 < n_samples / whole.samples.shape[1] <= 0.5
    np.testing.assert_array_equal(cut.samples, whole.samples[:, :n_samples])


def rewritten(path: Path, n_bytes: int) -> Path:
    """Give a WAV another length in its header."""
    content = bytearray(path.read_bytes())
    at = content.find(b"data") + 4
    content[at : at + 4] = n_bytes.to_bytes(4, "little")
    path.write_bytes(content)
    return path


def test_a_recorder_that_lost_its_power_leaves_zero_in_the_header(
    tmp_path: Path, noise: NDArray[np.float64]
) -> None:
    # Known input: the header was never finished, the samples are all there.
    path = stored(tmp_path / "a.wav", noise)
    whole = read_sound(path)
    sound = read_sound(rewritten(path, 0))
    assert sound.truncated
    np.testing.assert_array_equal(sound.samples, whole.samples)


def test_a_streamed_file_is_whole(tmp_path: Path, noise: NDArray[np.float64]) -> None:
    # Known input: a stream's header holds the largest number, and that is no cut.
    path = stored(tmp_path / "a.wav", noise)
    assert not read_sound(rewritten(path, 0xFFFFFFFF)).truncated


def test_the_word_data_before_the_samples_is_no_length(
    tmp_path: Path, noise: NDArray[np.float64]
) -> None:
    # Known input: a comment chunk that holds the letters "data".
    path = stored(tmp_path / "a.wav", noise)
    content = path.read_bytes()
    note = b"LIST" + (20).to_bytes(4, "little") + b"INFOICMT" + (8).to_bytes(4, "little")
    note += b"data\x00\x00\x00\x7f"
    at = content.find(b"data")
    path.write_bytes(content[:at] + note + content[at:])
    assert not read_sound(path).truncated


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_values_that_are_no_numbers_are_refused_and_placed(
    tmp_path: Path, noise: NDArray[np.float64], value: float
) -> None:
    noise[1, RATE_HZ // 2] = value
    path = stored(tmp_path / "a.wav", noise, "FLOAT")
    with pytest.raises(AudioFileError, match=r"first at 0\.500 s in channel 2"):
        read_sound(path)


def test_what_cannot_hold_a_recording_is_refused(
    tmp_path: Path, noise: NDArray[np.float64]
) -> None:
    with pytest.raises(AudioFileError, match=r"only 0\.10 s long"):
        read_sound(stored(tmp_path / "short.wav", noise[:, : RATE_HZ // 10]))
    with pytest.raises(AudioFileError, match="silent, all zeros"):
        read_sound(stored(tmp_path / "zero.wav", 0 * noise))
    with pytest.raises(AudioFileError, match="compressed with loss"):
        read_sound(stored(tmp_path / "a.ogg", noise, "VORBIS"))


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("empty.wav", b"", "is empty"),
        ("text.wav", b"Not a sound at all.\n" * 50, "isn't a sound file"),
        ("head.wav", b"RIFF\x24\x00\x00\x00WAVE", "isn't a sound file"),
        ("bare.raw", bytes(200_000), "isn't a sound file"),
    ],
)
def test_what_is_no_sound_is_refused(
    tmp_path: Path, name: str, content: bytes, message: str
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(AudioFileError, match=f"{name}.*{message}|{message}"):
        read_sound(tmp_path / name)


def test_a_missing_file_and_a_folder_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(AudioFileError, match="doesn't exist"):
        read_sound(tmp_path / "none.wav")
    with pytest.raises(AudioFileError, match="is a folder"):
        read_sound(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_does_not_block(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(AudioFileError, match="ordinary file"):
        read_sound(tmp_path / "pipe.wav")


def test_a_file_without_rights_is_named(ordinary_folder: Path, noise: NDArray[np.float64]) -> None:
    path = stored(ordinary_folder / "a.wav", noise)
    path.chmod(0)
    with pytest.raises(AudioFileError, match=r"can't open .*a\.wav \(Permission denied\)"):
        read_sound(path)
