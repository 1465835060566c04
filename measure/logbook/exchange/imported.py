"""A take made from a recording that came from elsewhere."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from measure.errors import MeasureError
from measure.files.audio_files import encode_wav, read_sound
from measure.files.output import json_text, text_writer, write_together
from measure.files.readings.document import reading_document, responses_path, stereo_responses
from measure.files.readings.recording_reader import read_file
from measure.logbook.folder import Logbook
from measure.takes.conditions import Conditions
from measure.takes.description import Labels, microphone_facts
from measure.takes.facts import AirFacts, Driver, Level, Occasion, Played, Sound, TakeFacts
from measure.takes.folder import begin_take
from measure.takes.names import PROGRAMME, READING
from measure.takes.sheet import check_sound, read_sheet


def import_recording(
    logbook: Logbook,
    recording: Path,
    sweep: Path,
    *,
    labels: Labels,
    made: datetime | None,
    around: Conditions,
) -> Path:
    """Read a recording of a programme, and keep both as a take.

    Parameters
    ----------
    logbook : Logbook
    recording : Path
        WAV, FLAC or another that can be read; it stays.
    sweep : Path
        The programme that was played, or its sheet.
    labels : Labels
    made : datetime or None
        When; None takes the file's own time.
    around : Conditions
        Air and microphone; a room is not used.

    Returns
    -------
    Path
        The take's folder.

    Raises
    ------
    MeasureError
        If the recording or the sheet can't be used, or there is a take of that name.

    Notes
    -----
    The channel in which the sweep is heard becomes the take's, as 32-bit floats: integers of
    up to 24 bits are kept as they are.
    """
    programme, sha256 = read_sheet(sweep)
    check_sound(sweep, sha256)
    file = read_file(recording, programme, air=around.air, microphone=around.microphone)
    sound = read_sound(recording)
    begun = begin_take(
        logbook.takes, labels.name, sample_rate_hz=sound.sample_rate_hz, n_channels=1
    )
    try:
        begun.write(sound.samples[file.channel - 1 : file.channel])
        begun.write_programme(programme)
        begun.keep_microphone(b"" if around.microphone is None else around.microphone.raw)
        target = begun.path / READING
        document = reading_document(
            file, sweep=PROGRAMME, microphone=around.microphone_document, spots={}
        )
        responses = stereo_responses(file.reading)

        def write_responses(temporary: Path) -> None:
            encode_wav(temporary, responses, programme.sample_rate_hz, encoding="FLOAT")

        write_together(
            {target: text_writer(json_text(document)), responses_path(target): write_responses}
        )
        when = made or datetime.fromtimestamp(recording.stat().st_mtime)
        facts = TakeFacts(
            take=Occasion(
                name=labels.name,
                started=when if when.tzinfo else when.astimezone(),
                pair=labels.pair,
                room=labels.room,
                place=labels.place,
            ),
            device=Sound(
                path=f"imported from {recording.name}, channel {file.channel}",
                sample_rate_hz=sound.sample_rate_hz,
            ),
            level=Level(level_dbfs=programme.sweep.level_dbfs),
            programme=Played(planned_order=programme.order, played_order=programme.order),
            driver=Driver(n_xruns=0),
            air=AirFacts(
                temperature_c=around.air.temperature_c,
                measured=around.air_measured,
                relative_humidity_percent=around.air.relative_humidity_percent,
            ),
            microphone=microphone_facts(around),
        )
        return begun.finish(facts)
    except MeasureError as problem:
        begun.abandon(str(problem))
        raise
