"""From a recording's file to its reading."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.basics.air import Air
from analysis.basics.arrays import Float
from analysis.bass.bass import add_positions
from analysis.reading import Reading, compare_channels, read_recording
from analysis.recording.checks.channels import ChannelChoice, choose_channel
from analysis.recording.checks.check import Check
from analysis.recording.extraction import NoPassError
from analysis.room.room import Positions, Room
from analysis.signals.programme import Programme
from analysis.signals.resampling import resample
from measure.errors import AudioFileError, NotHeardError
from measure.files.audio_files import SoundFile, read_sound
from measure.files.microphone import Microphone

SEARCHED_CHANNELS = 64

MOST_RIVALS = 3
"""So many other channels are read in full to see whether it matters which is taken."""

LEAST_RATE_HZ = 22_050
"""Half of a compact disc's. Recorders go lower for speech (16 kHz and less), often with
processing; a sweep that ends below is read all the same."""

OVERLAP = 1e-3
"""Two channels never sound at once where the product of their magnitudes, over the root of both
energies, stays below: rounding noise gives some 1e-5, two microphones in a room 0.3 and more."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FileReading:
    """A reading and the file that it came from.

    Attributes
    ----------
    reading : Reading
    path : Path
    channel : int
        The microphone's channel, from 1.
    n_channels : int
    sample_rate_hz : int
        Of the file.
    encoding : str
    duration_s : float
    """

    reading: Reading
    path: Path
    channel: int
    n_channels: int
    sample_rate_hz: int
    encoding: str
    duration_s: float

    @property
    def source_lines(self) -> list[str]:
        """The file's name, and what sound it holds."""
        channel = f", channel {self.channel} of {self.n_channels}" if self.n_channels > 1 else ""
        facts = f"{self.duration_s:.1f} s, {self.sample_rate_hz} Hz, {self.encoding}{channel}"
        return [self.path.name, facts]


def read_file(
    path: Path,
    programme: Programme,
    *,
    air: Air,
    room: tuple[Room, Positions] | None = None,
    microphone: Microphone | None = None,
    channel: int | None = None,
) -> FileReading:
    """Read a recording of a programme.

    Parameters
    ----------
    path : Path
    programme : Programme
    air : Air
    room : tuple of (Room, Positions), optional
    microphone : Microphone, optional
    channel : int, optional
        From 1; found by correlation if not given.

    Returns
    -------
    FileReading

    Raises
    ------
    AudioFileError
        If the file can't be used, has no such channel, is the sweep itself, or was recorded
        at a rate for speech.
    NotHeardError
        If the programme isn't in it.
    """
    sound = read_sound(path)
    _refuse_sweep_itself(sound)
    _refuse_speech_rate(sound, programme)
    chosen = _channel(sound, programme, channel)

    def read(index: int) -> Reading:
        return read_recording(
            sound.samples[index],
            recorded_hz=sound.sample_rate_hz,
            programme=programme,
            air=air,
            room=room,
            microphone_db=None
            if microphone is None
            else (microphone.frequency_hz, microphone.correction_db),
        )

    try:
        reading = read(chosen.index)
        rivals = {index: read(index) for index in chosen.rivals[:MOST_RIVALS]}
    except NoPassError as problem:
        raise NotHeardError(_not_heard(path, other_sweep=problem.other_sweep)) from problem
    if rivals:
        reading = compare_channels(reading, chosen.index, rivals)
    if sound.truncated:
        reading = _with_warning(reading, "cut_short", f"{path.name} ends before its header says")
    return FileReading(
        reading=reading,
        path=path,
        channel=chosen.index + 1,
        n_channels=sound.samples.shape[0],
        sample_rate_hz=sound.sample_rate_hz,
        encoding=sound.encoding,
        duration_s=sound.samples.shape[1] / sound.sample_rate_hz,
    )


def _refuse_sweep_itself(sound: SoundFile) -> None:
    """Refuse a stereo file in which left and right sound in turn, each alone in its channel."""
    if sound.samples.shape[0] != 2:
        return
    left, right = np.abs(sound.samples)
    scale = math.sqrt(float(np.dot(left, left)) * float(np.dot(right, right)))
    if scale > 0 and float(np.dot(left, right)) < OVERLAP * scale:
        msg = (
            f"{sound.path} is a sweep as it is played, left and right each alone in its channel, "
            "and not what a microphone heard of it: give the recording that was made at the seat"
        )
        raise AudioFileError(msg)


def _refuse_speech_rate(sound: SoundFile, programme: Programme) -> None:
    """Refuse a recording at a rate for speech, where the sweep goes higher than it holds."""
    rate_hz = sound.sample_rate_hz
    if rate_hz < LEAST_RATE_HZ and programme.sweep.stop_hz > rate_hz / 2:
        msg = (
            f"{sound.path} was recorded at {rate_hz} Hz, a rate for speech, which holds nothing "
            f"above {rate_hz / 2000:g} kHz: set the recorder to 44100 or 48000 Hz and record again"
        )
        raise AudioFileError(msg)


def _channel(sound: SoundFile, programme: Programme, channel: int | None) -> ChannelChoice:
    """Return the microphone's channel, and those that it could be as well."""
    n_channels = sound.samples.shape[0]
    if channel is not None:
        if not 1 <= channel <= n_channels:
            msg = f"{sound.path} has {n_channels} channels, so no channel {channel}"
            raise AudioFileError(msg)
        return ChannelChoice(index=channel - 1, rivals=())
    if n_channels == 1:
        return ChannelChoice(index=0, rivals=())
    searched = [
        _at_programme_rate(one, sound.sample_rate_hz, programme)
        for one in sound.samples[:SEARCHED_CHANNELS]
    ]
    return choose_channel(searched, programme)


def _at_programme_rate(samples: Float, rate_hz: float, programme: Programme) -> Float:
    """Return a channel as the search for passes wants it."""
    return resample(samples, rate_hz, programme.sample_rate_hz)


def _not_heard(path: Path, *, other_sweep: bool) -> str:
    """Say that the programme isn't in a recording, and what to do."""
    if other_sweep:
        return (
            f"{path} holds a sweep, but not this one: give the sweep or sheet that was played, "
            "and see that the player keeps its speed and sampling frequency"
        )
    return (
        f"the sweep isn't heard in {path}: is it the recording of this programme, from the right "
        "input, with both loudspeakers on?"
    )


def _with_warning(reading: Reading, name: str, text: str) -> Reading:
    """Return a reading with a warning added to one of its checks."""
    checks = tuple(
        Check(
            name=name,
            verdict="warn" if check.verdict == "pass" else check.verdict,
            detail=f"{text}; {check.detail}",
        )
        if check.name == name
        else check
        for check in reading.checks
    )
    return replace(reading, checks=checks)


def with_spot_files(centre: FileReading, spots: dict[str, FileReading]) -> FileReading:
    """Add recordings around the head: the bass becomes their power mean with its spread.

    Parameters
    ----------
    centre : FileReading
        At the middle of the head; the arrival stays its own.
    spots : dict
        Where to where the microphone was moved, and the reading there.

    Returns
    -------
    FileReading
    """
    if not spots:
        return centre
    bass = add_positions(centre.reading.bass, [spot.reading.bass for spot in spots.values()])
    return replace(centre, reading=replace(centre.reading, bass=bass))
