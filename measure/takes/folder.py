"""The folder of a take: written as it arrives, complete or marked as unfinished.

A take is a folder with the recording, the programme that was played with its sheet, the
reading with its impulse responses if there is one, and ``take.toml``, written last. Until
then the folder is called ``NAME.unfinished`` and holds ``unfinished.toml`` with the reason.
Nothing that exists is ever replaced: a take isn't started under a name that is there, and
an unfinished folder takes a number where its name is.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from importlib.metadata import version
from itertools import count
from pathlib import Path
from typing import Final

import numpy as np
import tomli_w
from numpy.typing import ArrayLike, NDArray

from analysis.signals.programme import Programme
from measure.errors import MeasureError, TakeError
from measure.files.audio_files import encode_wav
from measure.files.output import bytes_writer, text_writer, write_together, write_whole
from measure.files.system import sync_file, sync_folder
from measure.files.typed_records import convert_content
from measure.sound.stimulus import checksum, programme_samples
from measure.takes.facts import Recorded, TakeDocument, TakeFacts, take_document, take_text
from measure.takes.names import (
    CUT_OFF,
    FACTS,
    MICROPHONE,
    PROGRAMME,
    REASON,
    RECORDING,
    UNFINISHED,
    folder_name,
)
from measure.takes.sheet import sheet_path, sheet_text
from measure.takes.streamed_wav import StreamedWav

_REASON_SCHEMA: Final = 1

MOST_PLACES: Final = 100
"""Of so many gaps the places are kept, of the rest the number: a device that fails all the
time would fill the file with them."""


class UnfinishedTake:
    """A take that is being made; `begin_take` makes one."""

    def __init__(self, path: Path, wanted: Path, *, sample_rate_hz: int, n_channels: int) -> None:
        self._path = path
        self._wanted = wanted
        self._sample_rate_hz = sample_rate_hz
        self._n_channels = n_channels
        self._wav = StreamedWav(path / RECORDING, sample_rate_hz, n_channels)
        self._gaps: list[tuple[int, int]] = []

    @property
    def path(self) -> Path:
        """The folder as long as it is unfinished; what belongs to the take goes there."""
        return self._path

    @property
    def recording(self) -> Path:
        """The sound file, which can be read at any moment."""
        return self._wav.path

    @property
    def sample_rate_hz(self) -> int:
        """Of the recording."""
        return self._sample_rate_hz

    @property
    def n_frames(self) -> int:
        """How many frames were written."""
        return self._wav.n_frames

    def write(self, samples: ArrayLike) -> None:
        """Add recorded samples.

        Parameters
        ----------
        samples : array_like, shape (n_channels, n)
            NaN where the device delivered nothing: zeros in the file, and noted.

        Raises
        ------
        TakeError
            If the disk is full, or gone; what was written before is kept.
        """
        block = np.array(samples, dtype=np.float32)
        bad = ~np.isfinite(block)
        if bad.any():
            block[bad] = 0
            self._note(np.asarray(bad.any(axis=0)))
        self._wav.write(block)

    def _note(self, missing: NDArray[np.bool_]) -> None:
        """Note where frames are missing; a gap over several blocks is one."""
        edges = np.flatnonzero(np.diff(missing, prepend=False, append=False)).reshape(-1, 2)
        for first, end in edges.tolist():
            at, n_frames = first + self.n_frames, end - first
            if self._gaps and sum(self._gaps[-1]) == at:
                at, before = self._gaps.pop()
                n_frames += before
            self._gaps.append((at, n_frames))

    def write_programme(self, programme: Programme) -> None:
        """Write the programme and its sheet, by which the recording can be read.

        Raises
        ------
        OutputError
            If they can't be written.
        """
        samples = programme_samples(programme)
        sheet = sheet_text(programme, sha256=checksum(samples), version=version("apexline"))

        def write_sound(path: Path) -> None:
            encode_wav(path, samples, programme.sample_rate_hz, encoding="PCM_24")

        sound = self._path / PROGRAMME
        write_together({sound: write_sound, sheet_path(sound): text_writer(sheet)})

    def keep_microphone(self, raw: bytes) -> None:
        """Keep a microphone's correction file, byte for byte.

        Parameters
        ----------
        raw : bytes
            Nothing is written where it is empty.

        Raises
        ------
        OutputError
            If it can't be written.
        """
        if raw:
            write_whole(self._path / MICROPHONE, bytes_writer(raw))

    def finish(self, facts: TakeFacts) -> Path:
        """Complete the take and give its folder the name asked for.

        Parameters
        ----------
        facts : TakeFacts

        Returns
        -------
        Path
            The folder; with a number if the name was taken in the meantime.

        Raises
        ------
        ValueError
            If no programme was written, or a fact isn't of its kind.
        MeasureError
            If something can't be written; the unfinished folder then stays.
        """
        if not (self._path / PROGRAMME).exists():
            msg = "a take needs its programme: call write_programme before finish"
            raise ValueError(msg)
        content = take_document(facts, self._recorded(), version=version("apexline"))
        text = take_text(content)
        convert_content(tomllib.loads(text), TakeDocument)
        self._wav.sync()
        try:
            for file in self._path.iterdir():
                sync_file(file)
            write_whole(self._path / FACTS, text_writer(text))
            sync_file(self._path / FACTS)
            (self._path / REASON).unlink(missing_ok=True)
            sync_folder(self._path)
            return self._give_final_name()
        except OSError as problem:
            msg = f"can't complete {self._path} ({problem.strerror or problem}): what was recorded "
            msg += "is kept there"
            raise TakeError(msg) from problem

    def _recorded(self) -> Recorded:
        """Return what the sound file holds."""
        return Recorded(
            file=RECORDING,
            sha256=self._wav.sha256,
            n_frames=self._wav.n_frames,
            n_channels=self._n_channels,
            sample_rate_hz=self._sample_rate_hz,
            n_never_delivered=sum(n_frames for _, n_frames in self._gaps),
            never_delivered=tuple(self._gaps[:MOST_PLACES]),
        )

    def _give_final_name(self) -> Path:
        """Give the folder the name asked for, or that with a number."""
        for place in _numbered_names(self._wanted.name):
            target = self._wanted.with_name(place)
            if target.exists():
                continue
            self._path = self._path.rename(target)
            break
        sync_folder(self._path.parent)
        return self._path

    def discard(self) -> None:
        """Take the folder away again, where nothing was recorded."""
        if self.n_frames:
            msg = f"{self._path} holds a recording, which is never thrown away"
            raise ValueError(msg)
        with suppress(OSError):
            for name in (RECORDING, REASON):
                (self._path / name).unlink(missing_ok=True)
            self._path.rmdir()

    def abandon(self, reason: str) -> Path:
        """Say why the take stays unfinished, and leave what was recorded.

        Parameters
        ----------
        reason : str
            One sentence.

        Returns
        -------
        Path
            The folder. Where even the reason can't be written, the one from the start stays.
        """
        # Where the disk is full or gone, that is likely the reason itself.
        with suppress(MeasureError):
            self._wav.sync()
        with suppress(MeasureError):
            _write_reason(self._path, reason, recorded_s=self.n_frames / self._sample_rate_hz)
        return self._path


def begin_take(folder: Path, name: str, *, sample_rate_hz: int, n_channels: int) -> UnfinishedTake:
    """Start a take.

    Parameters
    ----------
    folder : Path
        Where takes are kept; made if it doesn't exist.
    name : str
        As a person gives it; `measure.takes.names.folder_name` makes it a folder's.
    sample_rate_hz : int
    n_channels : int
        The microphone, then the input wired to the output if there is one.

    Returns
    -------
    UnfinishedTake

    Raises
    ------
    TakeError
        If there is a take of that name, or the folder can't be written.
    """
    wanted = folder / folder_name(name)
    check_free(folder, name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = _new_folder(wanted)
        _write_reason(path, CUT_OFF, recorded_s=None)
        sync_folder(folder)
    except OSError as problem:
        msg = (
            f'can\'t make the take "{wanted}" ({problem.strerror or problem}): give another folder'
        )
        raise TakeError(msg) from problem
    return UnfinishedTake(path, wanted, sample_rate_hz=sample_rate_hz, n_channels=n_channels)


def check_free(folder: Path, name: str) -> None:
    """Raise an error if a take can't be kept under a name, before anything is played.

    Raises
    ------
    TakeError
        If there is one of that name, or nothing can be written where it belongs.
    """
    wanted = folder / folder_name(name)
    try:
        there = wanted.exists()
        place = next(one for one in (folder, *folder.absolute().parents) if one.exists())
    except OSError as problem:
        msg = f'can\'t look for "{wanted}" ({problem.strerror}): give another folder'
        raise TakeError(msg) from problem
    if there:
        msg = f'there is a take "{wanted}" already, and none is ever replaced: give another name'
        raise TakeError(msg)
    if not place.is_dir():
        msg = f'"{place}" is a file, so no take can be kept in it: give a folder'
        raise TakeError(msg)
    # By the rights in force, where the system can tell them from the user's own.
    effective = os.access in os.supports_effective_ids
    if not os.access(place, os.W_OK | os.X_OK, effective_ids=effective):
        msg = f'nothing can be written into the folder "{place}": change its rights, or give '
        msg += "another folder"
        raise TakeError(msg)


def _numbered_names(name: str, ending: str = "") -> Iterator[str]:
    """Yield a name, then the same with the numbers from 2."""
    yield name + ending
    yield from (f"{name}-{number}{ending}" for number in count(2))


def _new_folder(wanted: Path) -> Path:
    """Make the unfinished folder of a take, under a name that was free."""
    for place in _numbered_names(wanted.name, UNFINISHED):
        path = wanted.with_name(place)
        try:
            path.mkdir()
        except FileExistsError:
            continue
        return path
    raise AssertionError


def _write_reason(path: Path, reason: str, *, recorded_s: float | None) -> None:
    """Write why a folder is unfinished."""
    content: dict[str, object] = {"schema": _REASON_SCHEMA, "reason": reason, "written": _now()}
    if recorded_s is not None:
        content["recorded_s"] = round(recorded_s, 3)
    head = "# This take isn't complete. Its recording can be read as far as it goes.\n"
    write_whole(path / REASON, text_writer(head + tomli_w.dumps(content)))


def _now() -> datetime:
    """Return the local time with its offset."""
    return datetime.now().astimezone().replace(microsecond=0)
