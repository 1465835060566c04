"""Fingerprints taken from a file's bytes, without decoding it."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from measure.files.audio_files import append_wav, begin_wav, fingerprint
from measure.files.float_wav import float_wav_fingerprint

RATE_HZ = 44_100


def noise(n_channels: int) -> np.ndarray:
    """Return samples of axes (time, channel), with values that decoding might change."""
    samples = np.random.default_rng(4).standard_normal((300_001, n_channels)).astype(np.float32)
    samples[:4, 0] = (-0.0, 1e-42, 3.5, -1.0)
    return samples


@pytest.mark.parametrize("n_channels", [1, 2])
def test_it_is_the_checksum_of_the_decoded_samples(n_channels: int, tmp_path: Path) -> None:
    # Second method: the samples as the sound library decodes them.
    path = tmp_path / "a.wav"
    begin_wav(path, RATE_HZ, n_channels=n_channels)
    for block in np.array_split(noise(n_channels), 3):
        append_wav(path, block.T)
    decoded, _ = soundfile.read(path, dtype="float32", always_2d=True)
    found = float_wav_fingerprint(path)
    assert found is not None
    assert found.sha256 == hashlib.sha256(decoded.astype("<f4").tobytes()).hexdigest()
    assert (found.n_frames, found.n_channels, found.sample_rate_hz) == (300_001, n_channels, 44_100)
    # And of a lossless copy that is decoded, in another container.
    soundfile.write(tmp_path / "a.caf", decoded, RATE_HZ, subtype="FLOAT")
    assert float_wav_fingerprint(tmp_path / "a.caf") is None
    assert fingerprint(tmp_path / "a.caf") == found == fingerprint(path)


def test_anything_odd_is_left_to_the_sound_library(tmp_path: Path) -> None:
    # Known input: other encodings, other containers, cut files, no sound at all.
    samples = noise(1) / 8
    for name, kind in (("a.flac", "PCM_24"), ("b.wav", "PCM_16"), ("c.wav", "DOUBLE")):
        soundfile.write(tmp_path / name, samples, RATE_HZ, subtype=kind)
        assert float_wav_fingerprint(tmp_path / name) is None
    whole = tmp_path / "d.wav"
    soundfile.write(whole, samples, RATE_HZ, subtype="FLOAT")
    raw = whole.read_bytes()
    for number, cut in enumerate((raw[:-4], raw[:60], raw[:10], b"", b"RIFF" + b"\xff" * 100)):
        path = tmp_path / f"cut{number}.wav"
        path.write_bytes(cut)
        assert float_wav_fingerprint(path) is None
    assert fingerprint(tmp_path / "cut0.wav").n_frames == len(samples) - 1


def test_every_changed_bit_of_the_samples_is_noticed(tmp_path: Path) -> None:
    # Invariant: any bit of the samples, not the bytes around them.
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(1), RATE_HZ, subtype="FLOAT")
    with path.open("ab") as file:
        file.write(b"LIST\x04\x00\x00\x00abcd")
    raw, before = path.read_bytes(), float_wav_fingerprint(path)
    first = raw.index(b"data") + 8
    for at in (first, first + 600_000, first + 4 * 300_001 - 1):
        changed = bytearray(raw)
        changed[at] ^= 1
        path.write_bytes(changed)
        assert float_wav_fingerprint(path) != before
    path.write_bytes(raw[:-1] + b"x")
    assert float_wav_fingerprint(path) == before
