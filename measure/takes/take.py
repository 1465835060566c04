"""A take, from the first quiet noise to the finished folder.

The order is fixed: the level check; the folder with the programme, its sheet and the level, on
the disk before the first sample; the recording, with spoilt passes played again; the reading;
and ``take.toml`` at the very end. Whatever goes wrong after the folder was begun leaves it
unfinished, with all that was recorded and the reason in it; `measure.takes.interrupted` reads
and finishes what was left so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analysis.pair.wired_reference import AbsoluteDistances, absolute_distances
from analysis.signals.sound_level import (
    Calibration,
    Exposure,
    RecordedLevel,
    exposure_of,
    recorded_level,
)
from measure.errors import MeasureError, NotHeardError, StoppedError, TakeError
from measure.files.audio_files import encode_wav
from measure.files.output import json_text, text_writer, write_together
from measure.files.readings.document import reading_document, responses_path, stereo_responses
from measure.files.readings.recording_reader import FileReading, read_file
from measure.takes.description import Labels, describe_begun, describe_recorded, played_facts
from measure.takes.facts import Sound
from measure.takes.folder import UnfinishedTake, begin_take
from measure.takes.names import PROGRAMME, READING, RECORDING
from measure.takes.run import Progress, Recorded, play_and_record

if TYPE_CHECKING:
    from analysis.reading import Reading
    from analysis.signals.programme import Programme
    from measure.safety.treble_ledger import Ledger
    from measure.sound.keys import Keys
    from measure.sound.path import SoundPath
    from measure.takes.conditions import Conditions
    from measure.takes.level_check import LevelFound


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Take:
    """A finished take.

    Attributes
    ----------
    folder : Path
    reading : FileReading
    recorded : Recorded
    distances : AbsoluteDistances or None
        Where an input was wired to the output.
    exposure : Exposure or None
        Where it is known what full scale means in the room.
    """

    folder: Path
    reading: FileReading
    recorded: Recorded
    distances: AbsoluteDistances | None
    exposure: Exposure | None


Calibrate = Callable[[RecordedLevel], Calibration | None]


def no_calibration(level: RecordedLevel) -> None:  # noqa: ARG001
    """Nobody knows what full scale means in the room."""
    return


def make_take(
    path: SoundPath,
    programme: Programme,
    *,
    folder: Path,
    labels: Labels,
    conditions: Conditions,
    level: LevelFound | None,
    confirmed: bool | None,
    sound: Sound,
    ledger: Ledger,
    keys: Keys,
    show: Callable[[Progress], None],
    step: Callable[[str], None],
    calibrate: Calibrate = no_calibration,
) -> Take:
    """Play, record, judge, read and keep.

    Parameters
    ----------
    path : SoundPath
    programme : Programme
        At its final level.
    folder : Path
        In which the take's own folder is made.
    labels : Labels
    conditions : Conditions
    level : LevelFound or None
        None where the level check was skipped.
    confirmed : bool or None
        Whether the person said which loudspeaker sounded.
    sound : Sound
        What ``take.toml`` says of the devices.
    ledger : Ledger
    keys : Keys
    show : callable
        Is given how far it is.
    step : callable
        Is given what is done next.
    calibrate : callable
        Is given the recorded level, and returns what full scale means in the room, or
        None where nobody knows.

    Returns
    -------
    Take

    Raises
    ------
    MeasureError
        If the take couldn't be completed; its message names the unfinished folder where
        something was recorded.
    """
    begun = begin_take(
        folder, labels.name, sample_rate_hz=path.sample_rate_hz, n_channels=path.n_inputs
    )
    started = datetime.now().astimezone()
    facts = describe_begun(
        programme,
        labels=labels,
        started=started,
        sound=sound,
        conditions=conditions,
        level=level,
        confirmed=confirmed,
    )

    def note_repeats(longer: Programme, repeated: tuple[int, ...]) -> None:
        begun.note_facts(msgspec.structs.replace(facts, programme=played_facts(longer, repeated)))

    try:
        correction = b"" if conditions.microphone is None else conditions.microphone.raw
        begun.write_beginning(programme, facts, microphone=correction)
        recorded = play_and_record(
            path,
            programme,
            ledger=ledger,
            keys=keys,
            write=begun.write,
            show=show,
            note_repeats=note_repeats,
        )
        step("Reading the recording")
        if recorded.repeated:
            begun.write_programme(recorded.programme)
        reading = _read_heard(begun, recorded.programme, conditions)
        distances = _distances(recorded, reading.reading)
        exposure = _exposure(recorded, path.sample_rate_hz, calibrate)
        kept = begun.finish(
            describe_recorded(facts, recorded, exposure=exposure, distances=distances)
        )
    except MeasureError as problem:
        raise _leave_unfinished(problem, begun) from problem
    except KeyboardInterrupt as problem:
        raise _leave_unfinished(StoppedError("interrupted by Ctrl-C"), begun) from problem
    except OSError as problem:  # A broken pipe, or a terminal that was closed.
        gone = StoppedError("nobody reads any more what this program says")
        raise _leave_unfinished(gone, begun) from problem
    return Take(
        folder=kept,
        reading=replace(reading, path=kept / reading.path.name),
        recorded=recorded,
        distances=distances,
        exposure=exposure,
    )


def _leave_unfinished(problem: MeasureError, begun: UnfinishedTake) -> MeasureError:
    """Leave the folder unfinished, and say where what was recorded is."""
    if not begun.n_frames:
        begun.discard()
        return problem
    place = begun.abandon(str(problem))
    kept_s = begun.n_frames / begun.sample_rate_hz
    return type(problem)(f"{problem}. The {kept_s:.1f} s that were recorded are kept in {place}")


def _read_heard(begun: UnfinishedTake, programme: Programme, around: Conditions) -> FileReading:
    """Read the recording, and say what to look at where no sweep is in it."""
    try:
        return read_and_keep(begun.path, programme, around)
    except NotHeardError as problem:
        msg = (
            "the microphone heard no sweep: is the amplifier on, is this the right microphone, and "
            "do both loudspeakers play? See `apexline devices`"
        )
        raise TakeError(msg) from problem


def read_and_keep(folder: Path, programme: Programme, around: Conditions) -> FileReading:
    """Read the recording in a take's folder, and write the reading beside it.

    Parameters
    ----------
    folder : Path
    programme : Programme
        As played.
    around : Conditions

    Returns
    -------
    FileReading

    Raises
    ------
    NotHeardError
        If the programme isn't in the recording.
    MeasureError
        If the recording can't be used, or the reading can't be written.
    """
    file = read_file(
        folder / RECORDING,
        programme,
        air=around.air,
        room=around.room,
        microphone=around.microphone,
        channel=1,
    )
    document = reading_document(
        file, sweep=PROGRAMME, microphone=around.microphone_document, spots={}
    )
    samples = stereo_responses(file.reading)
    rate_hz = file.reading.programme.sample_rate_hz
    target = folder / READING

    def write_responses(temporary: Path) -> None:
        encode_wav(temporary, samples, rate_hz, encoding="FLOAT")

    write_together(
        {target: text_writer(json_text(document)), responses_path(target): write_responses}
    )
    return file


def _distances(recorded: Recorded, reading: Reading) -> AbsoluteDistances | None:
    """Return the distances to the microphone, where a second input was wired to the output."""
    if recorded.samples.shape[0] < 2 or reading.arrival is None:
        return None
    return absolute_distances(
        np.nan_to_num(recorded.samples[1]).astype(np.float64),
        aligned=reading.aligned,
        programme=recorded.programme,
        arrival=reading.arrival,
        air=reading.air,
    )


def _exposure(recorded: Recorded, sample_rate_hz: int, calibrate: Calibrate) -> Exposure | None:
    """Return what the take was for the ears, where that can be told."""
    level = recorded_level(recorded.samples[0], sample_rate_hz=sample_rate_hz)
    calibration = calibrate(level)
    return None if calibration is None else exposure_of(level, calibration)
