"""Curves and impulse responses of a take for other programs: CSV, WAV, AES69 (SOFA)."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Callable
from pathlib import Path

from measure.errors import LogbookError, OutputError, ReadingFileError
from measure.files.output import text_writer, write_whole
from measure.files.readings.document import load_document, responses_path
from measure.logbook.folder import Logbook
from measure.takes.names import READING


def write_curves(take: Path, target: Path) -> None:
    """Write the bass curves as CSV: frequency, and level of each curve in dB.

    Raises
    ------
    ReadingFileError
        If the take has no reading, or nothing was heard.
    OutputError
        If `target` is there, or can't be written.
    """
    _refuse(target)
    bass = load_document(take / READING)["bass"]
    columns = {}
    for side in ("left", "right", "both"):
        for smoothing in ("level_db", "sixth_octave_db"):
            values = dict(zip(bass[side]["frequency_hz"], bass[side][smoothing], strict=True))
            columns[f"{side}_{smoothing}"] = values
    frequencies = sorted({hz for values in columns.values() for hz in values})
    if not frequencies:
        msg = f"the take {take} holds no bass curve: nothing was heard"
        raise ReadingFileError(msg)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["frequency_hz", *columns])
    for hz in frequencies:
        found = [values.get(hz) for values in columns.values()]
        row = ["" if value is None else f"{value:.3f}" for value in found]
        writer.writerow([f"{hz:.3f}", *row])
    write_whole(target, text_writer(text.getvalue()))


def write_responses(take: Path, target: Path) -> None:
    """Copy the impulse responses: WAV, 32-bit float, channel 1 left, 2 right.

    Raises
    ------
    LogbookError
        If the take has none.
    OutputError
        If `target` is there, or can't be written.
    """
    _refuse(target)
    source = _responses(take)
    write_whole(target, _copier(source))


def _copier(source: Path) -> Callable[[Path], None]:
    """Return what copies a file to a path."""

    def copy(temporary: Path) -> None:
        shutil.copyfile(source, temporary)

    return copy


def write_sofa(logbook: Logbook, take: Path, target: Path) -> str:
    """Write the impulse responses as AES69 (SOFA), with the positions of the take's place.

    Returns
    -------
    str
        What isn't known of the positions, one sentence; empty where all is.

    Raises
    ------
    LogbookError
        If the take has no responses, or the library isn't installed.
    OutputError
        If `target` is there, or can't be written.
    """
    from measure.logbook.exchange import aes69 as sofa

    _refuse(target)
    return sofa.write_sofa(logbook, take, _responses(take), target)


def _responses(take: Path) -> Path:
    """Return the file of the impulse responses."""
    path = responses_path(take / READING)
    if not path.is_file():
        msg = f"the take {take} holds no impulse responses: read its recording again"
        raise LogbookError(msg)
    return path


def _refuse(target: Path) -> None:
    """Refuse to replace a file."""
    if target.exists():
        msg = f"{target} exists already: give another name"
        raise OutputError(msg)
