"""Reading and writing sound files; the only module that knows the sound-file library.

Conventions: samples have axes (channel, time) and are 1.0 at full scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from measure.errors import AudioFileError
from measure.output import write_whole

Float = NDArray[np.float64]

SHORTEST_S = 0.5
"""Nothing shorter holds a pass and its decay."""

LARGEST_SAMPLES = 600_000_000
"""Some 4.8 GB once decoded: an hour of stereo at 48 kHz is 350 million."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SoundFile:
    """A decoded sound file.

    Attributes
    ----------
    path : Path
    samples : ndarray, shape (n_channels, n)
    sample_rate_hz : int
    encoding : str
        As the file names it, such as ``PCM_16``.
    truncated : bool
        Whether the file ends before its header says.
    """

    path: Path
    samples: Float
    sample_rate_hz: int
    encoding: str
    truncated: bool


def read_sound(path: Path) -> SoundFile:
    """Read a WAV, FLAC or other PCM file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    SoundFile

    Raises
    ------
    AudioFileError
        If the file is missing, isn't sound, is too short or too long, or holds values
        that are not finite, or nothing but zeros.
    """
    promised = _promised(path)
    try:
        with soundfile.SoundFile(path) as file:
            if file.frames * file.channels > LARGEST_SAMPLES:
                msg = f"{path} holds {file.frames / file.samplerate / 60:.0f} minutes of "
                msg += f"{file.channels} channels, too much: cut out the programme"
                raise AudioFileError(msg)
            samples = file.read(dtype="float64", always_2d=True).T
            rate_hz, encoding, frames = file.samplerate, file.subtype, file.frames
    except (soundfile.LibsndfileError, RuntimeError, TypeError) as problem:
        msg = f"{path} isn't a sound file that can be read ({_reason(problem)}): give a WAV or "
        msg += "FLAC recording"
        raise AudioFileError(msg) from problem
    _refuse_unusable(path, samples, rate_hz)
    frames = max(frames, promised or 0)
    return SoundFile(
        path=path,
        samples=np.ascontiguousarray(samples),
        sample_rate_hz=rate_hz,
        encoding=encoding,
        truncated=samples.shape[1] < frames,
    )


def _promised(path: Path) -> int | None:
    """Check that the file can be opened; return the frames that a WAV header promises."""
    try:
        with path.open("rb") as file:
            head = file.read(1 << 16)
    except FileNotFoundError as problem:
        msg = f"{path} doesn't exist: check the name"
        raise AudioFileError(msg) from problem
    except IsADirectoryError as problem:
        msg = f"{path} is a folder: give a recording in it"
        raise AudioFileError(msg) from problem
    except OSError as problem:
        msg = f"can't open {path}: {problem.strerror}"
        raise AudioFileError(msg) from problem
    if not head:
        msg = f"{path} is empty: the recording wasn't saved, record again"
        raise AudioFileError(msg)
    at = head.find(b"data")
    form = head.find(b"fmt ")
    if head[:4] != b"RIFF" or at < 0 or form < 0:
        return None
    n_bytes = int.from_bytes(head[at + 4 : at + 8], "little")
    block = int.from_bytes(head[form + 20 : form + 22], "little")
    # A streamed file carries the largest number for "unknown".
    return None if n_bytes >= 0xFFFFFF00 or block == 0 else n_bytes // block


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
        msg = f"{path} holds {int(bad.sum())} values that are no numbers, the first at "
        msg += f"{first / rate_hz:.3f} s: the file is damaged, record or export it again"
        raise AudioFileError(msg)
    if not samples.any():
        msg = f"{path} is silent, all zeros: check that the right input was recorded"
        raise AudioFileError(msg)


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
    """
    if encoding != "FLOAT" and float(np.abs(samples).max(initial=0)) > 1:
        msg = f"{path} would clip: lower the level"
        raise AudioFileError(msg)
    write_whole(
        path,
        lambda temporary: soundfile.write(
            temporary, samples.T, sample_rate_hz, subtype=encoding, format="WAV"
        ),
    )
