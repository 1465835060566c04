"""A recording that is written as it arrives.

Conventions: samples have axes (channel, time), full scale is 1; the file is a WAV of
32-bit floats. Its header is right after every `StreamedWav.write`: a process that is killed
at any moment leaves a file with all that was written before. A power cut may cost in
addition what the system hadn't yet put on the disk: the last `SYNC_EVERY_S` and as long as
the disk takes, half a second on a slow one. A thread of its own waits for the disk, so that
whoever records doesn't.
"""

from __future__ import annotations

import hashlib
import shutil
import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from measure.errors import TakeError
from measure.files.audio_files import append_wav, begin_wav
from measure.files.system import sync_file, sync_folder

SYNC_EVERY_S: Final = 0.5
"""To ask the disk more often would wear a memory card and slow an old disk down, and half
a second of sound is no more than a person waits for anyway."""

_SMALLEST_ROOM_BYTES: Final = 1_000_000
"""Where less than this is free the disk is called full; the sound library doesn't say why
it couldn't write."""


class StreamedWav:
    """A new sound file that grows and can be read at any moment.

    Parameters
    ----------
    path : Path
        Must not exist yet.
    sample_rate_hz, n_channels : int

    Raises
    ------
    TakeError
        If the file exists, or can't be made.
    """

    def __init__(self, path: Path, sample_rate_hz: int, n_channels: int) -> None:
        self._path = path
        self._sample_rate_hz = sample_rate_hz
        self._n_channels = n_channels
        self._n_frames = 0
        self._digest = hashlib.sha256()
        self._synced_s = time.monotonic()
        self._stopped: str | None = None
        self._waiter = ThreadPoolExecutor(1, thread_name_prefix="sync")
        self._syncing: Future[None] | None = None
        try:
            begin_wav(path, sample_rate_hz, n_channels=n_channels)
            sync_folder(path.parent)
        except FileExistsError as problem:
            msg = f"{path} exists already, and nothing recorded is ever replaced: give another name"
            raise TakeError(msg) from problem
        except OSError as problem:
            msg = f"can't write {path} ({problem.strerror or problem}): give another place"
            raise TakeError(msg) from problem

    @property
    def path(self) -> Path:
        """Where it stands."""
        return self._path

    @property
    def n_frames(self) -> int:
        """How many frames were written."""
        return self._n_frames

    @property
    def sha256(self) -> str:
        """Checksum of what was written, as `measure.files.audio_files.fingerprint` takes it."""
        return self._digest.hexdigest()

    def write(self, samples: ArrayLike) -> None:
        """Add samples.

        Parameters
        ----------
        samples : array_like, shape (n_channels, n)
            Stored as 32-bit floats.

        Raises
        ------
        ValueError
            If the shape is another, or a value isn't finite.
        TakeError
            If the disk is full, or gone, or was so before. What was written stays readable.
        """
        block = np.asarray(samples, dtype="<f4")
        if block.ndim != 2 or block.shape[0] != self._n_channels:
            msg = f"samples of shape {block.shape} must be ({self._n_channels}, n)"
            raise ValueError(msg)
        if not np.isfinite(block).all():
            msg = "samples must be finite"
            raise ValueError(msg)
        if block.shape[1] == 0:
            return
        with self._stop_at_errors():
            append_wav(self._path, block)
            self._digest.update(block.T.tobytes())
            self._n_frames += block.shape[1]
            self._sync_now_and_then()

    def sync(self) -> None:
        """Return once everything written is on the disk.

        Raises
        ------
        TakeError
            If the disk is full, or gone, or was so before.
        """
        with self._stop_at_errors():
            if self._syncing is not None:
                self._syncing.result()
            sync_file(self._path)

    def _sync_now_and_then(self) -> None:
        """Let the disk be waited for, unless that was so a moment ago or still is."""
        if time.monotonic() - self._synced_s < SYNC_EVERY_S:
            return
        if self._syncing is not None:
            if not self._syncing.done():
                return
            self._syncing.result()
        self._syncing = self._waiter.submit(sync_file, self._path)
        self._synced_s = time.monotonic()

    @contextmanager
    def _stop_at_errors(self) -> Iterator[None]:
        """Say in one sentence that writing stopped; what stopped once isn't taken up again.

        A part of the last samples may be in the file, so more would stand in the wrong place.
        """
        if self._stopped is not None:
            raise TakeError(self._stopped)
        try:
            yield
        except OSError as problem:
            self._stopped = (
                f"can't go on writing {self._path} ({_cause(self._path, problem)}): make room, or "
                "record to another disk"
            )
            raise TakeError(self._stopped) from problem
        except BaseException:
            # Ctrl-C in the middle: nobody knows how much of it is in the file.
            self._stopped = f"writing {self._path} was interrupted: what was recorded is kept"
            raise


def _cause(path: Path, problem: OSError) -> str:
    """Return what is wrong with the disk, as far as the system says."""
    try:
        free_bytes = shutil.disk_usage(path.parent).free
    except OSError:
        return "its folder is gone"
    if free_bytes < _SMALLEST_ROOM_BYTES:
        return "the disk is full"
    return problem.strerror or str(problem) or "the system refused"
