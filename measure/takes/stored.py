"""Reading a take, and saying what is wrong with one that can't be used.

A take whose recording was changed, cut or replaced is refused: its reading and its facts
would be another's.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from analysis.signals.programme import Programme
from measure.errors import AudioFileError, TakeError
from measure.files.audio_files import fingerprint
from measure.files.microphone import Microphone, read_microphone
from measure.files.readings.document import responses_path
from measure.takes.facts import (
    HINT,
    MicrophoneFacts,
    Recorded,
    TakeDocument,
    TakeFacts,
    read_take_toml,
)
from measure.takes.names import CUT_OFF, FACTS, MICROPHONE, PROGRAMME, READING, REASON, RECORDING
from measure.takes.sheet import read_sheet, sheet_path


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
    microphone : Path or None
        The kept correction; None where none was used, or only its name is known.
    """

    path: Path
    facts: TakeFacts
    recorded: Recorded
    recording: Path
    programme: Programme
    sheet: Path
    reading: Path | None
    responses: Path | None
    microphone: Path | None


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
            msg = f"{needed} is missing, which belongs to the take: {HINT}"
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
        microphone=kept_correction(path, content.microphone),
    )


def take_microphone(take: TakeFile) -> Microphone | None:
    """Return the correction with which a take was read, from the copy in it.

    Parameters
    ----------
    take : TakeFile

    Returns
    -------
    Microphone or None
        None where none was used, or only its name was kept.

    Raises
    ------
    MicrophoneFileError
        If this program can't read it.
    """
    known = take.facts.microphone
    if take.microphone is None or known is None:
        return None
    return read_microphone(
        take.microphone,
        holds=known.file_is or "response",
        incidence_deg=None if known.angle_deg is None else round(known.angle_deg),
    )


def kept_correction(path: Path, known: MicrophoneFacts | None) -> Path | None:
    """Return the correction in a take's folder, held against its checksum.

    Parameters
    ----------
    path : Path
        The take's folder.
    known : MicrophoneFacts or None

    Returns
    -------
    Path or None
        None where none was used, or only its name is known.

    Raises
    ------
    TakeError
        If it is missing, or was changed.
    """
    if known is None or known.kept_as is None:
        return None
    file = path / MICROPHONE
    try:
        raw = file.read_bytes()
    except OSError as problem:
        msg = f"{file}, which belongs to the take, can't be read ({problem.strerror}): {HINT}"
        raise TakeError(msg) from problem
    if sha256(raw).hexdigest() != known.sha256:
        msg = f"{file} isn't the correction that was used, its checksum is another: {HINT}"
        raise TakeError(msg)
    return file


def _content(path: Path) -> TakeDocument:
    """Return what ``take.toml`` says."""
    if not path.is_dir():
        what = "isn't a folder" if path.exists() else "doesn't exist"
        msg = f"{path} {what}: give the folder of a take"
        raise TakeError(msg)
    facts = path / FACTS
    if not facts.exists():
        raise TakeError(_incomplete(path))
    return read_take_toml(facts)


def _incomplete(path: Path) -> str:
    """Return why a folder without facts isn't a take."""
    if not (path / RECORDING).exists():
        return f"{path} isn't a take, it holds no {FACTS}: give the folder of a take"
    try:
        said = tomllib.loads((path / REASON).read_text(encoding="utf-8"))["reason"]
    except (OSError, ValueError, KeyError):
        said = CUT_OFF
    return (
        f"the take {path} isn't complete ({said}): `apexline read` reads it as far as it goes, "
        "`apexline log finish` completes it as it is; or measure again"
    )


def _check(recording: Path, said: Recorded) -> None:
    """Raise an error unless a recording is the one that was made."""
    try:
        found = fingerprint(recording)
    except AudioFileError as problem:
        msg = f"{problem}; {HINT}"
        raise TakeError(msg) from problem
    if found.n_frames != said.n_frames:
        msg = f"{recording} holds {found.n_frames} frames, but {said.n_frames} were recorded: "
        raise TakeError(msg + HINT)
    if found.sha256 != said.sha256 or found.sample_rate_hz != said.sample_rate_hz:
        msg = f"{recording} isn't what was recorded, its checksum is another: {HINT}"
        raise TakeError(msg)
