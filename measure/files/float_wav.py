"""The fingerprint of a WAV of 32-bit floats, from its bytes as they stand in the file.

What a take's checksum is taken over, samples as little-endian 32-bit floats frame by frame,
is just what such a file holds; so nothing needs decoding, and it goes as fast as SHA-256.
Any other file, or one with anything odd in it, is left to the sound library.
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

_FLOAT: Final = 3
"""The format tag of IEEE floats, in the list of the original WAVE specification (1994)."""

_BLOCK_BYTES: Final = 1 << 18
"""Large enough that calls cost nothing, small enough for the processor's cache (common
practice, no source)."""

_MOST_CHUNKS: Final = 64


@dataclass(frozen=True, kw_only=True, slots=True)
class Fingerprint:
    """What tells one recording from another.

    Attributes
    ----------
    sha256 : str
        Hexadecimal, of the samples as little-endian 32-bit floats, frame by frame.
    n_frames, n_channels, sample_rate_hz : int
    """

    sha256: str
    n_frames: int
    n_channels: int
    sample_rate_hz: int


def float_wav_fingerprint(path: Path) -> Fingerprint | None:
    """Return the fingerprint of a plain WAV of 32-bit floats.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Fingerprint or None
        None where it is anything else, or ends before its header says.

    Raises
    ------
    OSError
        If it can't be read.
    """
    with path.open("rb", buffering=0) as file:
        found = _data(file)
        if found is None:
            return None
        n_channels, rate_hz, n_bytes = found
        digest = _hash_next(file, n_bytes)
    if digest is None:
        return None
    return Fingerprint(
        sha256=digest,
        n_frames=n_bytes // (4 * n_channels),
        n_channels=n_channels,
        sample_rate_hz=rate_hz,
    )


def _data(file: BinaryIO) -> tuple[int, int, int] | None:
    """Go to the samples, and return channels, sampling frequency and number of bytes."""
    head = file.read(12)
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
        return None
    layout: tuple[int, int] | None = None
    for _ in range(_MOST_CHUNKS):
        head = file.read(8)
        if len(head) < 8:
            return None
        name, n_bytes = head[:4], int.from_bytes(head[4:], "little")
        if name == b"data":
            whole = layout is not None and n_bytes % (4 * layout[0]) == 0
            return (*layout, n_bytes) if layout is not None and whole else None
        if name == b"fmt ":
            layout = _layout(file.read(n_bytes) if n_bytes <= 64 else b"")
            if layout is None:
                return None
        else:
            file.seek(n_bytes, 1)
        file.seek(n_bytes % 2, 1)  # Chunks begin at even places.
    return None


def _layout(text: bytes) -> tuple[int, int] | None:
    """Return channels and sampling frequency, if the samples are plain 32-bit floats."""
    if len(text) < 16:
        return None
    tag, n_channels, rate_hz, _, frame_bytes, n_bits = struct.unpack("<HHIIHH", text[:16])
    plain = tag == _FLOAT and n_bits == 32 and n_channels > 0 and frame_bytes == 4 * n_channels
    return (n_channels, rate_hz) if plain else None


def _hash_next(file: BinaryIO, n_bytes: int) -> str | None:
    """Return the SHA-256 of the next bytes, or None if there aren't as many."""
    digest = hashlib.sha256()
    block = memoryview(bytearray(min(_BLOCK_BYTES, n_bytes)))
    while n_bytes > 0:
        n_read = file.readinto(block[: min(len(block), n_bytes)])  # type: ignore[attr-defined]
        if not n_read:
            return None
        digest.update(block[:n_read])
        n_bytes -= n_read
    return digest.hexdigest()
