"""Any take's recording, complete or interrupted: reading it, and completing what was interrupted.

What is known of an interrupted take was brought to the disk before its first sample (see
`measure.takes.folder`), and its recording as it arrived. Completing it adds the reading and
``take.toml`` to what is there; the recording itself is never touched.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from analysis.signals.programme import Programme
from measure.errors import AudioFileError, NotHeardError, SheetError, TakeError
from measure.files.audio_files import fingerprint
from measure.files.system import hold_lock
from measure.takes.facts import Recorded, TakeFacts, read_begun_toml, read_take_toml
from measure.takes.folder import write_facts
from measure.takes.names import (
    BEGUN,
    CUT_OFF,
    FACTS,
    IN_USE,
    PROGRAMME,
    REASON,
    RECORDING,
    UNFINISHED,
    folder_name,
    give_final_name,
)
from measure.takes.sheet import check_sound, read_sheet, sheet_path, write_programme
from measure.takes.stored import kept_correction, read_take
from measure.takes.take import read_and_keep

if TYPE_CHECKING:
    from measure.files.readings.recording_reader import FileReading
    from measure.takes.conditions import Conditions


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeRecording:
    """What a take's recording is read by.

    Attributes
    ----------
    recording : Path
    programme : Programme
        As played, as far as is known.
    facts : TakeFacts
    microphone : Path or None
        The kept correction.
    interrupted : str
        Why it isn't complete; empty where it is.
    """

    recording: Path
    programme: Programme
    facts: TakeFacts
    microphone: Path | None
    interrupted: str


def read_any_take(path: Path) -> TakeRecording:
    """Return what a take's recording is read by, whether it is complete or not.

    Parameters
    ----------
    path : Path
        The take's folder.

    Returns
    -------
    TakeRecording

    Raises
    ------
    TakeError
        If it is no take, nothing was recorded, or it is damaged.
    SheetError
        If the programme's sheet can't be used.
    """
    if (path / FACTS).is_file() or not (path / RECORDING).is_file():
        take = read_take(path)
        return TakeRecording(
            recording=take.recording,
            programme=take.programme,
            facts=take.facts,
            microphone=take.microphone,
            interrupted=take.facts.take.interrupted or "",
        )
    reason = _interruption(path)
    if not (path / BEGUN).is_file():
        msg = (
            f"{path} isn't complete ({reason}), and holds no {BEGUN} that says how it was made: "
            f"give its {RECORDING} and --sweep with what was played"
        )
        raise TakeError(msg)
    facts = read_begun_toml(path / BEGUN).facts
    planned = read_sheet(sheet_path(path / PROGRAMME))[0]
    return TakeRecording(
        recording=path / RECORDING,
        # The sheet may still be without the passes that were played again.
        programme=replace(planned, order=facts.programme.played_order),
        facts=facts,
        microphone=kept_correction(path, facts.microphone),
        interrupted=reason,
    )


def interrupted_path(folder: Path, name: str) -> Path:
    """Return the folder of an interrupted take.

    Parameters
    ----------
    folder : Path
        Where takes are kept.
    name : str
        As given when it was begun, or its folder's.

    Returns
    -------
    Path

    Raises
    ------
    TakeError
        If there is none.
    """
    path = folder / (folder_name(name.removesuffix(UNFINISHED)) + UNFINISHED)
    if path.is_dir():
        return path
    there = sorted(one.name for one in folder.glob(f"*{UNFINISHED}")) if folder.is_dir() else []
    named = f"there are {', '.join(there)}" if there else "there is none"
    msg = f'no interrupted take of the name "{name}" is in {folder}: {named}'
    raise TakeError(msg)


def finish_interrupted(path: Path, around: Conditions) -> tuple[Path, FileReading | None]:
    """Complete an interrupted take with what is there, and mark it as interrupted.

    Parameters
    ----------
    path : Path
        Its folder.
    around : Conditions
        For the reading.

    Returns
    -------
    folder : Path
        Of the complete take; with a number if the name is taken.
    reading : FileReading or None
        None where none could be made of so little, or it had been made before.

    Raises
    ------
    MeasureError
        If a process still makes it, nothing was recorded, or something can't be read or
        written; all that was there then stays.
    """
    with _held(path):
        if (path / FACTS).is_file():
            # It lacked nothing but its name.
            wanted = path.with_name(folder_name(read_take_toml(path / FACTS).take.name))
            reading = None
        else:
            take = read_any_take(path)
            wanted = path.with_name(folder_name(take.facts.take.name))
            reading = _complete(path, take, around)
    # Windows renames no folder in which a file is open.
    with suppress(OSError):
        (path / IN_USE).unlink()
    return give_final_name(path, wanted), reading


def refuse_in_use(path: Path) -> None:
    """Raise an error if a process still makes a take.

    Raises
    ------
    TakeError
        Naming the folder.
    """
    with _held(path):
        pass


def _complete(path: Path, take: TakeRecording, around: Conditions) -> FileReading | None:
    """Add to an interrupted take what it lacks, ``take.toml`` last."""
    found = fingerprint(take.recording)
    if not found.n_frames:
        msg = f"nothing was recorded in {path}, so there is nothing to complete: delete it, or "
        msg += "`apexline log discard` it"
        raise TakeError(msg)
    _mend_programme(path / PROGRAMME, take.programme)
    reading: FileReading | None = None
    # A take without a reading is complete too: too little may have been recorded for one.
    with suppress(NotHeardError, AudioFileError):
        reading = read_and_keep(path, take.programme, around)
    marked = msgspec.structs.replace(take.facts.take, interrupted=take.interrupted)
    write_facts(
        path,
        msgspec.structs.replace(take.facts, take=marked),
        Recorded(
            file=RECORDING,
            sha256=found.sha256,
            n_frames=found.n_frames,
            n_channels=found.n_channels,
            sample_rate_hz=found.sample_rate_hz,
        ),
    )
    return reading


def _mend_programme(sound: Path, programme: Programme) -> None:
    """Write programme and sheet again where they aren't what was played."""
    try:
        described, sha256 = read_sheet(sheet_path(sound))
        check_sound(sound, sha256)
    except (AudioFileError, SheetError):
        described = None
    if described != programme or not sound.is_file():
        write_programme(sound, programme)


@contextmanager
def _held(path: Path) -> Iterator[None]:
    """Hold a take's folder, so that nobody makes or completes it meanwhile."""
    with ExitStack() as stack:
        try:
            stack.enter_context(hold_lock(path / IN_USE, patience_s=0.0))
        except TimeoutError as problem:
            msg = f"{path} is being made or completed just now: wait until that has ended"
            raise TakeError(msg) from problem
        except OSError as problem:
            msg = f"can't write in {path} ({problem.strerror or problem}): change its rights"
            raise TakeError(msg) from problem
        yield


def _interruption(path: Path) -> str:
    """Return why a take isn't complete."""
    try:
        return str(tomllib.loads((path / REASON).read_text(encoding="utf-8"))["reason"])
    except (OSError, ValueError, KeyError):
        return CUT_OFF
