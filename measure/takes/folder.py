"""The folder of a take: written as it arrives, complete or marked as unfinished.

A take is a folder with the recording, the programme that was played with its sheet, the
reading with its impulse responses if there is one, and ``take.toml``, written last. Until
then the folder is called ``NAME.unfinished`` and holds ``unfinished.toml`` with the reason, and
``begun.toml`` with all that is known before the first sample, so that it can be read and
completed whatever interrupts it. Nothing that exists is ever replaced: a take isn't started
under a name that is there, and an unfinished folder takes a number where its name is.
"""

from __future__ import annotations

import tomllib
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Final

import numpy as np
import tomli_w
from numpy.typing import ArrayLike, NDArray

from analysis.signals.programme import Programme
from measure.errors import MeasureError, TakeError
from measure.files.output import bytes_writer, text_writer, write_whole
from measure.files.system import hold_lock, sync_file, sync_folder
from measure.files.typed_records import convert_content
from measure.takes.facts import (
    Recorded,
    TakeDocument,
    TakeFacts,
    begun_text,
    take_document,
    take_text,
)
from measure.takes.names import (
    BEGUN,
    CUT_OFF,
    FACTS,
    IN_USE,
    MICROPHONE,
    PROGRAMME,
    REASON,
    RECORDING,
    UNFINISHED,
    check_free,
    folder_name,
    give_final_name,
    incompletable,
    numbered_names,
)
from measure.takes.sheet import sheet_path, write_programme
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
        # For what must not keep the recorder waiting; one worker, so in order.
        self._later = ThreadPoolExecutor(1, thread_name_prefix="begun")
        self._lock = ExitStack()
        # A new folder is nobody else's: what refuses here is a disk that knows no locks.
        with suppress(OSError):
            self._lock.enter_context(hold_lock(path / IN_USE, patience_s=0.0))

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
        write_programme(self._path / PROGRAMME, programme)

    def write_beginning(
        self, programme: Programme, facts: TakeFacts, *, microphone: bytes = b""
    ) -> None:
        """Bring to the disk all that is known before the first sample.

        Parameters
        ----------
        programme : Programme
            As planned.
        facts : TakeFacts
            What `measure.takes.description.describe_begun` says.
        microphone : bytes
            The correction, as for `keep_microphone`.

        Raises
        ------
        MeasureError
            If it can't be written.
        """
        self.write_programme(programme)
        self.keep_microphone(microphone)
        self._write_begun(facts)
        try:
            sync_folder(self._path.parent)
        except OSError as problem:
            msg = f"can't write {self._path} ({problem.strerror or problem}): give another folder"
            raise TakeError(msg) from problem

    def note_facts(self, facts: TakeFacts) -> None:
        """Have the facts from the beginning replaced while it is recorded, in a moment.

        What can't be written is left: the recording goes on, or stops for the same reason.
        """
        self._later.submit(self._write_begun, facts)

    def _write_begun(self, facts: TakeFacts) -> None:
        """Bring the facts from the beginning to the disk, with all that stands beside them."""
        text = begun_text(facts, version=version("apexline"))
        write_whole(self._path / BEGUN, text_writer(text))
        sync_files(self._path)

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
        self._wav.sync()
        self._later.shutdown()
        write_facts(self._path, facts, self._recorded())
        self._let_go()
        self._path = give_final_name(self._path, self._wanted)
        return self._path

    def _let_go(self) -> None:
        """Let others take the folder for what it is."""
        self._later.shutdown()
        self._lock.close()
        with suppress(OSError):
            (self._path / IN_USE).unlink()

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

    def discard(self) -> None:
        """Take the folder away again, where nothing was recorded."""
        if self.n_frames:
            msg = f"{self._path} holds a recording, which is never thrown away"
            raise ValueError(msg)
        self._let_go()
        with suppress(OSError):
            sheet = sheet_path(Path(PROGRAMME)).name
            for name in (RECORDING, REASON, PROGRAMME, sheet, MICROPHONE, BEGUN):
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
        self._let_go()
        return self._path


def write_facts(folder: Path, facts: TakeFacts, recorded: Recorded) -> None:
    """Write ``take.toml``, once all else of the take is on the disk, and take away what it ends.

    Raises
    ------
    ValueError
        If a fact isn't of its kind.
    MeasureError
        If it can't be written; the unfinished folder then stays.
    """
    text = take_text(take_document(facts, recorded, version=version("apexline")))
    convert_content(tomllib.loads(text), TakeDocument)
    sync_files(folder)
    write_whole(folder / FACTS, text_writer(text))
    try:
        sync_file(folder / FACTS)
        for name in (REASON, BEGUN):
            (folder / name).unlink(missing_ok=True)
        sync_folder(folder)
    except OSError as problem:
        raise incompletable(folder, problem) from problem


def sync_files(folder: Path) -> None:
    """Return once all files of a take's folder are on the disk.

    Raises
    ------
    TakeError
        If they can't be brought there.
    """
    try:
        for file in folder.iterdir():
            if file.name != IN_USE:
                sync_file(file)
        sync_folder(folder)
    except OSError as problem:
        raise incompletable(folder, problem) from problem


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


def _new_folder(wanted: Path) -> Path:
    """Make the unfinished folder of a take, under a name that was free."""
    for place in numbered_names(wanted.name, UNFINISHED):
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
