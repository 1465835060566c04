"""Reading and writing sound files; the only module that knows the sound-file library.

Conventions: samples have axes (channel, time) and are 1.0 at full scale.

A recorder that lost its power leaves a header that promises more, or nothing; such a
file is read as far as it goes and marked as truncated. Anything else that can't be a
recording is refused in one sentence.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np
import soundfile
from numpy.typing import NDArray

from measure.errors import AudioFileError
from measure.files.float_wav import Fingerprint, float_wav_fingerprint
from measure.files.output import write_whole

Float = NDArray[np.float64]

SHORTEST_S: Final = 0.5
"""Nothing shorter holds a pass and its decay."""

LARGEST_SAMPLES: Final = 250_000_000
"""Over all channels, 2 GB once decoded: twelve channels at 48 kHz for seven minutes."""

LOSSLESS: Final = frozenset({"PCM_S8", "PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"})
"""Encodings that keep the phase on which everything here rests."""

_BLOCK_FRAMES: Final = 1 << 16
_UNKNOWN_BYTES: Final = 0xFFFFFF00
"""A streamed file carries a number from here on for "until the end"."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SoundFile:
    """A decoded sound file.

    Attributes
    ----------
    path : Path
    samples : ndarray, shape (n_channels, n)
    sample_rate_hz : int
    encoding : str
        As the library names it, such as ``PCM_16``.
    truncated : bool
        Whether the file ends before its header says.
    """

    path: Path
    samples: Float
    sample_rate_hz: int
    encoding: str
    truncated: bool


def read_sound(path: Path) -> SoundFile:
    """Read a WAV, FLAC or other lossless sound file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    SoundFile

    Raises
    ------
    AudioFileError
        If the file is missing, isn't sound, is compressed with loss, is too short or too
        long, or holds values that are not finite, or nothing but zeros.
    """
    header = _read_header(path)
    promised = _n_promised_frames(header)
    try:
        with soundfile.SoundFile(_unfinished_wav(path, header) or path) as file:
            _refuse_format(path, file)
            samples = _decode(file)
            rate_hz, encoding, n_frames = file.samplerate, file.subtype, file.frames
    except (soundfile.LibsndfileError, TypeError) as problem:
        msg = f"{path} isn't a sound file that can be read ({_reason(problem)}): give a WAV or "
        msg += "FLAC recording"
        raise AudioFileError(msg) from problem
    _refuse_unusable(path, samples, rate_hz)
    return SoundFile(
        path=path,
        samples=samples,
        sample_rate_hz=rate_hz,
        encoding=encoding,
        truncated=promised == 0 or samples.shape[1] < max(n_frames, promised or 0),
    )


def write_sound(
    path: Path, samples: Float, sample_rate_hz: int, *, encoding: str = "FLOAT"
) -> None:
    """Write a WAV file, whole or not at all.

    Parameters
    ----------
    path : Path
    samples : ndarray, shape (n_channels, n)
    sample_rate_hz : int
    encoding : str
        ``FLOAT`` keeps any level; ``PCM_24`` is what players take.

    Raises
    ------
    AudioFileError
        If a PCM encoding would clip.
    OutputError
        If the file can't be written.

    Notes
    -----
    The library stamps float files with the time of writing, so two of them differ in a
    few bytes though their samples are the same.
    """
    refuse_clipping(path, samples, encoding=encoding)
    write_whole(
        path, lambda temporary: encode_wav(temporary, samples, sample_rate_hz, encoding=encoding)
    )


def refuse_clipping(path: Path, samples: Float, *, encoding: str) -> None:
    """Raise an error if an encoding can't hold the samples.

    Raises
    ------
    AudioFileError
        If it is PCM and a sample lies above full scale.
    """
    if encoding.startswith("PCM") and float(np.abs(samples).max(initial=0)) > 1:
        msg = f"{path} would clip: lower the level"
        raise AudioFileError(msg)


def encode_wav(path: Path, samples: Float, sample_rate_hz: int, *, encoding: str) -> None:
    """Write samples of shape (n_channels, n) to a file as it stands.

    Raises
    ------
    OSError
        If the disk is full or the file can't be opened.
    """
    try:
        soundfile.write(path, samples.T, sample_rate_hz, subtype=encoding, format="WAV")
    except soundfile.LibsndfileError as problem:
        raise OSError(_reason(problem)) from problem


def begin_wav(path: Path, sample_rate_hz: int, *, n_channels: int) -> None:
    """Make a new WAV of 32-bit floats that holds nothing yet.

    Raises
    ------
    OSError
        If there is such a file already, or it can't be made.
    """
    path.open("xb").close()
    try:
        with soundfile.SoundFile(
            path, "w", samplerate=sample_rate_hz, channels=n_channels, subtype="FLOAT", format="WAV"
        ):
            pass
    except soundfile.LibsndfileError as problem:
        raise OSError(_reason(problem)) from problem


def append_wav(path: Path, samples: NDArray[np.float32]) -> None:
    """Add samples of shape (n_channels, n) to a WAV; its header then tells of them.

    The samples go to the file first and the header follows, so a process that ends between
    the two leaves a file that reads as before.

    Raises
    ------
    OSError
        If they don't all find room; those that did stay readable.
    """
    try:
        with soundfile.SoundFile(path, "r+") as file:
            file.seek(0, soundfile.SEEK_END)
            file.write(samples.T)
    except soundfile.LibsndfileError as problem:
        raise OSError(_reason(problem)) from problem


def fingerprint(path: Path) -> Fingerprint:
    """Return the fingerprint of a sound file, whatever it holds: silence too is a recording.

    Raises
    ------
    AudioFileError
        If it can't be read.
    """
    _read_header(path)
    try:
        plain = float_wav_fingerprint(path)
    except OSError as problem:
        msg = f"can't read {path} ({problem.strerror}): check its rights, or copy it elsewhere"
        raise AudioFileError(msg) from problem
    if plain is not None:
        return plain
    digest, n_frames = hashlib.sha256(), 0
    try:
        with soundfile.SoundFile(path) as file:
            for block in file.blocks(_BLOCK_FRAMES, dtype="float32", always_2d=True):
                digest.update(block.astype("<f4", copy=False).tobytes())
                n_frames += len(block)
            n_channels, rate_hz = file.channels, file.samplerate
    except soundfile.LibsndfileError as problem:
        msg = f"{path} isn't a sound file that can be read ({_reason(problem)})"
        raise AudioFileError(msg) from problem
    return Fingerprint(
        sha256=digest.hexdigest(),
        n_frames=n_frames,
        n_channels=n_channels,
        sample_rate_hz=rate_hz,
    )


def _read_header(path: Path) -> bytes:
    """Return the first bytes of an ordinary, readable file."""
    try:
        if path.is_dir():
            msg = f"{path} is a folder: give a recording in it"
            raise AudioFileError(msg)
        if path.exists() and not path.is_file():
            msg = f"{path} isn't an ordinary file: give a WAV or FLAC recording"
            raise AudioFileError(msg)
        with path.open("rb") as file:
            header = file.read(1 << 16)
    except FileNotFoundError as problem:
        msg = f"{path} doesn't exist: check the name"
        raise AudioFileError(msg) from problem
    except OSError as problem:
        msg = f"can't open {path} ({problem.strerror}): check its rights, or copy it elsewhere"
        raise AudioFileError(msg) from problem
    if not header:
        msg = f"{path} is empty: the recording wasn't saved, record again"
        raise AudioFileError(msg)
    return header


def _wav_chunks(header: bytes) -> Mapping[bytes, tuple[int, int]]:
    """Return where the chunks of a RIFF header begin, and the bytes that each promises."""
    chunks: dict[bytes, tuple[int, int]] = {}
    at = 12
    while header[:4] == b"RIFF" and header[8:12] == b"WAVE" and at + 8 <= len(header):
        name, n_bytes = header[at : at + 4], int.from_bytes(header[at + 4 : at + 8], "little")
        chunks[name] = (at + 8, n_bytes)
        if name == b"data":
            break
        at += 8 + n_bytes + n_bytes % 2
    return chunks


def _n_promised_frames(header: bytes) -> int | None:
    """Return the number of frames that a WAV header promises, or None where it doesn't."""
    chunks = _wav_chunks(header)
    if b"data" not in chunks or b"fmt " not in chunks:
        return None
    at, n_bytes = chunks[b"fmt "][0], chunks[b"data"][1]
    frame_bytes = int.from_bytes(header[at + 12 : at + 14], "little")
    return None if n_bytes >= _UNKNOWN_BYTES or frame_bytes == 0 else n_bytes // frame_bytes


def _unfinished_wav(path: Path, header: bytes) -> BinaryIO | None:
    """Return a mended copy of a WAV whose recorder never wrote how much it holds."""
    chunks = _wav_chunks(header)
    at, n_bytes = chunks.get(b"data", (0, 1))
    if n_bytes != 0 or path.stat().st_size <= at:
        return None
    mended = bytearray(path.read_bytes())
    mended[at - 4 : at] = b"\xff" * 4
    mended[4:8] = b"\xff" * 4
    return io.BytesIO(bytes(mended))


def _refuse_format(path: Path, file: Any) -> None:
    """Raise an error for a lossy encoding and for more than fits in memory."""
    if file.subtype not in LOSSLESS:
        msg = f"{path} is compressed with loss ({file.subtype}), which shifts what is measured: "
        msg += "record as WAV or FLAC"
        raise AudioFileError(msg)
    if file.frames * file.channels > LARGEST_SAMPLES:
        minutes = file.frames / file.samplerate / 60
        msg = f"{path} holds {minutes:.0f} minutes of {file.channels} channels, too much: cut out "
        msg += "the programme, or keep the microphone's channel alone"
        raise AudioFileError(msg)


def _decode(file: Any) -> Float:
    """Return the samples, shape (n_channels, n), as far as they can be decoded."""
    samples = np.empty((file.channels, file.frames))
    n_done = 0
    while n_done < file.frames:
        try:
            block = file.read(_BLOCK_FRAMES, dtype="float64", always_2d=True)
        except soundfile.LibsndfileError:
            if n_done == 0:
                raise
            break
        if not len(block):
            break
        samples[:, n_done : n_done + len(block)] = block.T
        n_done += len(block)
    return samples[:, :n_done]


def _reason(problem: Exception) -> str:
    """Return the library's reason without its prefix."""
    text = getattr(problem, "error_string", None) or str(problem)
    return str(text).strip().rstrip(".")


def _refuse_unusable(path: Path, samples: Float, rate_hz: int) -> None:
    """Raise an error for samples that can't hold a recording."""
    n_samples = samples.shape[1]
    if n_samples < SHORTEST_S * rate_hz:
        msg = f"{path} is only {n_samples / rate_hz:.2f} s long: record the whole programme"
        raise AudioFileError(msg)
    bad = ~np.isfinite(samples)
    if bad.any():
        first = int(np.argmax(bad.any(axis=0)))
        channel = int(np.argmax(bad[:, first])) + 1
        msg = f"{path} holds {int(bad.sum())} values that are no numbers, the first at "
        msg += f"{first / rate_hz:.3f} s in channel {channel}: the file is damaged, record or "
        msg += "export it again"
        raise AudioFileError(msg)
    if not samples.any():
        msg = f"{path} is silent, all zeros: check that the right input was recorded"
        raise AudioFileError(msg)
