"""A microphone's correction file.

Conventions: plain text, two columns, frequency in Hz and a level in dB, and a third for
phase, which isn't used: it would be the same for both loudspeakers. No standard fixes
the format or the sign (searched, none found), so the sign is an option, and every
reading prints what was applied.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from measure.errors import MicrophoneFileError

Float = NDArray[np.float64]

PRINTED_HZ = (50.0, 1000.0, 10_000.0)
"""Where every reading prints the correction."""

LARGEST_DB = 40.0
"""No usable microphone is further off than this."""

COMMENTS = ("#", "*", ";", '"', "'", "%", "//")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Microphone:
    """What is added to a recording to undo its microphone.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Ascending.
    correction_db : ndarray, shape (n,)
        To add; interpolated in the logarithm of frequency and flat beyond the ends.
    """

    frequency_hz: Float
    correction_db: Float

    def at_db(self, frequency_hz: float) -> float:
        """Return the correction at a frequency, in dB."""
        octave = np.log2(self.frequency_hz)
        return float(np.interp(np.log2(frequency_hz), octave, self.correction_db))


def read_microphone(path: Path, *, holds: str) -> Microphone:
    """Read a correction file.

    Parameters
    ----------
    path : Path
    holds : {"response", "correction"}
        Whether the file gives the microphone's deviation, which is subtracted, or what
        is to be added.

    Returns
    -------
    Microphone

    Raises
    ------
    MicrophoneFileError
        If the file can't be read or doesn't hold a plausible curve.
    """
    try:
        raw = path.read_bytes()
    except OSError as problem:
        msg = f"can't read the microphone file {path}: {problem.strerror}"
        raise MicrophoneFileError(msg) from problem
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    rows = [
        _row(line, path, number)
        for number, line in enumerate(text.splitlines(), 1)
        if _is_data(line)
    ]
    table = np.array(rows, dtype=float).reshape(-1, 2)
    _check(table, path)
    sign = -1.0 if holds == "response" else 1.0
    return Microphone(frequency_hz=table[:, 0], correction_db=sign * table[:, 1])


def _is_data(line: str) -> bool:
    """Say whether a line holds figures: not blank, a comment, or a heading."""
    text = line.strip()
    return bool(text) and not text.startswith(COMMENTS) and not text[0].isalpha()


def _row(line: str, path: Path, number: int) -> tuple[float, float]:
    """Return frequency and level of one line."""
    text = line.strip()
    if re.search(r"[;\t]|\s", text.strip()) and "." not in text:
        # Columns are told apart without commas, so a comma is the decimal sign.
        text = re.sub(r"(\d),(\d)", r"\1.\2", text)
    fields = [field for field in re.split(r"[,;\s]+", text) if field]
    try:
        frequency_hz, level_db, *rest = (float(field) for field in fields[:3])
    except ValueError as problem:
        msg = f"{path}, line {number}: {line.strip()[:40]!r} isn't a frequency and a level"
        raise MicrophoneFileError(msg) from problem
    del rest
    return frequency_hz, level_db


def _check(table: Float, path: Path) -> None:
    """Refuse a table that can't be a microphone's."""
    if table.shape[0] < 2:
        msg = f"{path} holds {table.shape[0]} lines of frequency and level, at least 2 are needed"
        raise MicrophoneFileError(msg)
    if not np.all(np.isfinite(table)):
        msg = f"{path} holds values that are no numbers"
        raise MicrophoneFileError(msg)
    if not (np.all(table[:, 0] > 0) and np.all(np.diff(table[:, 0]) > 0)):
        msg = f"{path}: the frequencies must be above 0 and rise from line to line"
        raise MicrophoneFileError(msg)
    worst_db = float(np.abs(table[:, 1]).max())
    if worst_db > LARGEST_DB:
        msg = f"{path}: {worst_db:.0f} dB is no microphone's deviation; is the second column in dB?"
        raise MicrophoneFileError(msg)
