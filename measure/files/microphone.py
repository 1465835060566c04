"""A microphone's correction file.

Conventions: plain text, two columns, frequency in Hz and a level in dB, and a third for
phase, which is checked and not used: it is the same for both loudspeakers. No standard
fixes the format or the sign (searched, none found), so the sign is an option, and every
reading prints what was applied.

Columns are parted by white space, semicolons or commas; a number may have a decimal
comma where commas don't part the columns. Before the first row of figures there may be
headings and a line with one number, the microphone's sensitivity; neither is used.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from measure.errors import MicrophoneFileError

Float = NDArray[np.float64]

PRINTED_HZ: Final = (50.0, 1000.0, 10_000.0)
"""Where every reading prints the correction."""

LARGEST_DB: Final = 40.0
"""No usable microphone is further off than this."""

FREQUENCY_RANGE_HZ: Final = (1.0, 200_000.0)
"""A figure in kHz, or a column of something else, falls outside or doesn't rise."""

LARGEST_BYTES: Final = 5_000_000
"""A correction of a million bytes is a long one; a sound file given by mistake is longer."""

COMMENTS: Final = ("#", "*", ";", "'", "%", "//")

_NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+|nan|inf)(?:[eE][-+]?\d+)?$", re.IGNORECASE)
_COMMA_NUMBER: Final = re.compile(r"[-+]?\d*,?\d+(?:[eE][-+]?\d+)?$")

_COLUMNS: Final = {
    "part": re.compile(r"[,;\s]+"),
    "decimal": re.compile(r",\s+|[;\s]+"),
}
"""How a line falls into columns, by what its commas do."""

Row = tuple[float, ...]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Microphone:
    """What is added to a recording to undo its microphone.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Ascending.
    correction_db : ndarray, shape (n,)
        To add; interpolated in the logarithm of frequency and flat beyond the ends.
    incidence_deg : int or None
        The angle for which the file holds: 0 (pointed at the loudspeakers), 90 (pointed
        at the ceiling), or None where nobody said.
    raw : bytes
        The file as it was read, so that a take can keep it; empty where there was none.
    """

    frequency_hz: Float
    correction_db: Float
    incidence_deg: int | None = None
    raw: bytes = b""

    def at_db(self, frequency_hz: float) -> float:
        """Return the correction at a frequency, in dB."""
        return float(self.curve_db(frequency_hz))

    def curve_db(self, frequency_hz: ArrayLike) -> Float:
        """Return the correction at each frequency above 0, in dB."""
        octave = np.log2(self.frequency_hz)
        return np.asarray(np.interp(np.log2(frequency_hz), octave, self.correction_db))


def correction_lines(microphone: Microphone | None) -> list[str]:
    """Say what was done about a microphone's own response; nothing without a correction."""
    if microphone is None:
        return []
    values = ", ".join(f"{microphone.at_db(at_hz):+.1f} dB at {at_hz:g} Hz" for at_hz in PRINTED_HZ)
    angle = (
        "no angle was given for which its file holds (--mic-angle)"
        if microphone.incidence_deg is None
        else f"its file holds for {microphone.incidence_deg} degrees"
    )
    return [f"correction added: {values}; {angle}"]


def read_microphone(
    path: Path,
    *,
    holds: Literal["response", "correction"] | str,
    incidence_deg: int | None = None,
) -> Microphone:
    """Read a correction file.

    Parameters
    ----------
    path : Path
    holds : {"response", "correction"}
        Whether the file gives the microphone's deviation, which is subtracted, or what
        is to be added.
    incidence_deg : int, optional
        The angle for which the file holds, 0 or 90.

    Returns
    -------
    Microphone

    Raises
    ------
    ValueError
        If `holds` or `incidence_deg` is none of these.
    MicrophoneFileError
        If the file can't be read or doesn't hold a plausible curve.
    """
    if holds not in ("response", "correction"):
        msg = f"holds {holds!r} must be 'response' or 'correction'"
        raise ValueError(msg)
    if incidence_deg not in (0, 90, None):
        msg = f"incidence_deg {incidence_deg!r} must be 0, 90 or None"
        raise ValueError(msg)
    raw = _raw(path)
    table = _table(_text(raw, path).splitlines(), path)
    sign = -1.0 if holds == "response" else 1.0
    return Microphone(
        frequency_hz=table[:, 0],
        correction_db=sign * table[:, 1],
        incidence_deg=incidence_deg,
        raw=raw,
    )


def _raw(path: Path) -> bytes:
    """Return the bytes of a file of plausible size."""
    try:
        if path.is_file() and path.stat().st_size > LARGEST_BYTES:
            msg = f"{path} is too large to be a microphone file: give a text of two columns"
            raise MicrophoneFileError(msg)
        return path.read_bytes()
    except OSError as problem:
        msg = f"can't read the microphone file {path} ({problem.strerror}): check name and rights"
        raise MicrophoneFileError(msg) from problem


def _text(raw: bytes, path: Path) -> str:
    """Return the text of a file in one of the encodings that such files come in."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    if b"\0" in raw:
        msg = f"{path} isn't text: give a text of two columns, frequency and dB"
        raise MicrophoneFileError(msg)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _table(lines: Sequence[str], path: Path) -> Float:
    """Return the rows as an array of shape (n, 2) or (n, 3), checked."""
    rows: list[Row] = []
    numbers: list[int] = []
    seen_sensitivity = False
    for number, line in enumerate(lines, 1):
        row = _row(line)
        if row is not None and len(row) == 1 and not rows and not seen_sensitivity:
            seen_sensitivity = True
        elif row is not None and len(row) in (2, 3):
            rows.append(row)
            numbers.append(number)
        elif row is not None or (rows and not _is_comment(line)):
            msg = f"{path}, line {number}: {line.strip()[:40]!r} isn't a frequency and a level; "
            msg += "write two columns, or # before a comment"
            raise MicrophoneFileError(msg)
    if len(rows) < 2:
        msg = f"{path} holds {len(rows)} lines of frequency and level, at least 2 are needed: "
        msg += "give a text of two columns"
        raise MicrophoneFileError(msg)
    _check(rows, numbers, path)
    return np.array(rows)


def _is_comment(line: str) -> bool:
    """Return whether a line is blank or a comment."""
    text = line.strip()
    return not text or text.startswith((*COMMENTS, '"'))


def _row(line: str) -> Row | None:
    """Return the numbers of a line, or None if it holds anything else."""
    text = line.strip().replace('"', "")
    if not text or text.startswith(COMMENTS):
        return None
    text = re.split(r"\s[#*%]", text)[0].strip()
    fields = _COLUMNS[_commas(text)].split(text.strip(",; "))
    values = [_number(field) for field in fields]
    return None if None in values else tuple(value for value in values if value is not None)


def _commas(text: str) -> str:
    """Return whether the commas of a line part its columns or are decimal signs."""
    beside_space = re.search(r",\s|\s,", text)
    if not re.search(r"[;\s]", text) or (beside_space and "." in text):
        return "part"
    return "decimal" if re.search(r"\d,\d", text) else "part"


def _number(text: str) -> float | None:
    """Return a number with a decimal point or comma, or None if it is none."""
    if _NUMBER.match(text):
        return float(text)
    if _COMMA_NUMBER.match(text):
        return float(text.replace(",", "."))
    return None


def _check(rows: Sequence[Row], numbers: Sequence[int], path: Path) -> None:
    """Refuse a table that can't be a microphone's."""
    n_columns, before_hz = len(rows[0]), 0.0
    for row, number in zip(rows, numbers, strict=True):
        if len(row) != n_columns:
            msg = f"{path}, line {number}: has {len(row)} columns, the lines before {n_columns}; "
            msg += "a decimal comma beside a comma between columns? write decimals with a point"
            raise MicrophoneFileError(msg)
        if not FREQUENCY_RANGE_HZ[0] <= row[0] <= FREQUENCY_RANGE_HZ[1]:
            msg = f"{path}, line {number}: {row[0]:g} Hz must lie from {FREQUENCY_RANGE_HZ[0]:g} "
            msg += f"to {FREQUENCY_RANGE_HZ[1]:g}; correct the line or leave it out"
            raise MicrophoneFileError(msg)
        if row[0] <= before_hz:
            msg = f"{path}, line {number}: {row[0]:g} Hz follows {before_hz:g} Hz, but frequencies "
            msg += "must rise; put the lines in order, write thousands without a comma"
            raise MicrophoneFileError(msg)
        if not abs(row[1]) <= LARGEST_DB:
            msg = f"{path}, line {number}: {row[1]:g} dB is no microphone's deviation; is the "
            msg += "second column a level relative to 1 kHz, in dB?"
            raise MicrophoneFileError(msg)
        before_hz = row[0]
