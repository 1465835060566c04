"""Reading a take, and saying what is wrong with one that can't be used.

A take whose recording was changed, cut or replaced is refused: its reading and its facts
would be another's.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import msgspec

from analysis.programme import Programme
from measure.audio_files import fingerprint
from measure.errors import AudioFileError, TakeError
from measure.reading_file import responses_path
from measure.sheet import read_sheet, sheet_path
from measure.take_facts import SCHEMA, Recorded, TakeDocument, TakeFacts
from measure.take_folder import CUT_OFF, FACTS, PROGRAMME, READING, REASON, RECORDING
from measure.toml_file import read_toml

_HINT: Final = "copy the take again from where it was made"


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeFile:
    """A complete take.

    Attributes
    ----------
    path : Path
        Its folder.
    facts : TakeFacts
    recorded : Recorded
        What the recording holds.
    recording : Path
    programme : Programme
        From the sheet.
    sheet : Path
    reading, responses : Path or None
        The reading and its impulse responses; None if none could be made.
    """

    path: Path
    facts: TakeFacts
    recorded: Recorded
    recording: Path
    programme: Programme
    sheet: Path
    reading: Path | None
    responses: Path | None


def read_take(path: Path, *, verify: bool = True) -> TakeFile:
    """Read a complete take.

    Parameters
    ----------
    path : Path
        Its folder.
    verify : bool
        Hold the recording against its checksum, which reads it whole.

    Returns
    -------
    TakeFile

    Raises
    ------
    TakeError
        If it is no take, isn't complete, is another version's or damaged, or if its
        recording was changed.
    SheetError
        If the programme's sheet can't be used.
    """
    content = _content(path)
    recording, sound = path / RECORDING, path / PROGRAMME
    for needed in (recording, sheet_path(sound)):
        if not needed.is_file():
            msg = f"{needed} is missing, which belongs to the take: {_HINT}"
            raise TakeError(msg)
    if verify:
        _check(recording, content.recording)
    reading = path / READING
    responses = responses_path(reading)
    return TakeFile(
        path=path,
        facts=content.facts,
        recorded=content.recording,
        recording=recording,
        programme=read_sheet(sheet_path(sound))[0],
        sheet=sheet_path(sound),
        reading=reading if reading.is_file() else None,
        responses=responses if responses.is_file() else None,
    )


class _Version(msgspec.Struct):
    """What is read first: another version's file may differ in everything else."""

    schema: int


def _content(path: Path) -> TakeDocument:
    """Return what ``take.toml`` says."""
    if not path.is_dir():
        what = "isn't a folder" if path.exists() else "doesn't exist"
        msg = f"{path} {what}: give the folder of a take"
        raise TakeError(msg)
    facts = path / FACTS
    if not facts.exists():
        raise TakeError(_incomplete(path))
    found = read_toml(facts, _Version, error=TakeError, what="the facts of a take", hint=_HINT)
    if found.schema != SCHEMA:
        msg = f"{facts} has schema {found.schema}, but this program reads {SCHEMA}: update it"
        raise TakeError(msg)
    return read_toml(facts, TakeDocument, error=TakeError, what="the facts of a take", hint=_HINT)


def _incomplete(path: Path) -> str:
    """Return why a folder without facts isn't a take."""
    if not (path / RECORDING).exists():
        return f"{path} isn't a take, it holds no {FACTS}: give the folder of a take"
    try:
        said = tomllib.loads((path / REASON).read_text(encoding="utf-8"))["reason"]
    except (OSError, ValueError, KeyError):
        said = CUT_OFF
    return (
        f"the take {path} isn't complete ({said}): `apexline read` takes its {RECORDING} with "
        f"its {PROGRAMME} as far as it goes, or measure again"
    )


def _check(recording: Path, said: Recorded) -> None:
    """Raise an error unless a recording is the one that was made."""
    try:
        found = fingerprint(recording)
    except AudioFileError as problem:
        msg = f"{problem}; {_HINT}"
        raise TakeError(msg) from problem
    if found.n_frames != said.n_frames:
        msg = f"{recording} holds {found.n_frames} frames, but {said.n_frames} were recorded: "
        raise TakeError(msg + _HINT)
    if found.sha256 != said.sha256 or found.sample_rate_hz != said.sample_rate_hz:
        msg = f"{recording} isn't what was recorded, its checksum is another: {_HINT}"
        raise TakeError(msg)
