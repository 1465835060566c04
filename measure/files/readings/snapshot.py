"""A saved reading as what two readings are compared by."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from analysis.bass.causes.cause import Cause
from analysis.bass.features import Feature
from analysis.comparison.compare import SPEED_OF_SOUND_M_S, Snapshot
from analysis.room.prediction import CURVES
from analysis.room.room import Loudspeaker, Point, Positions
from analysis.signals.impulse_response import ImpulseResponse
from measure.errors import AudioFileError, ReadingFileError
from measure.files.audio_files import read_sound
from measure.files.readings.document import load_document, responses_path

_FEATURE_KEYS: Final = (
    "kind",
    "frequency_hz",
    "frequency_std_hz",
    "level_db",
    "level_std_db",
    "prominence_db",
    "width_hz",
    "q",
    "decay_s",
    "decay_std_s",
)


def read_snapshot(path: Path) -> Snapshot:
    """Read a saved reading and its impulse responses.

    Parameters
    ----------
    path : Path
        What ``apexline read --json`` wrote.

    Returns
    -------
    Snapshot

    Raises
    ------
    ReadingFileError
        If the reading or its responses are missing or damaged.
    """
    document = load_document(path)
    try:
        return _snapshot(document, saved_responses(path, document["impulse_responses"]))
    except (KeyError, TypeError, ValueError) as problem:
        msg = f"{path} isn't a whole reading ({problem!r}): read the recording again"
        raise ReadingFileError(msg) from problem


def _snapshot(document: Mapping[str, Any], responses: list[ImpulseResponse | None]) -> Snapshot:
    """Return the snapshot of a document."""
    arrival, level = document["arrival"], document["level"]
    return Snapshot(
        left=responses[0],
        right=responses[1],
        arrival_m=_metres(arrival["left_minus_right_mm"]),
        arrival_std_m=_metres(arrival["std_mm"]),
        arrival_in_room_std_m=_metres(arrival["in_room_std_mm"]),
        direct_db=level["left_minus_right_db"],
        # Place and early echoes are common to both takes. Older readings hold the noise alone.
        direct_std_db=level.get("noise_std_db", level["std_db"]),
        seat_db=level["seat_left_minus_right_db"],
        seat_std_db=level["seat_std_db"],
        features={
            name: tuple(_feature(table) for table in document["bass"][name]["features"])
            for name in CURVES
        },
        positions=_positions(document["room"]),
        speed_of_sound_m_s=document["air"]["speed_of_sound_m_s"] or SPEED_OF_SOUND_M_S,
        causes={
            name: tuple(_cause(table) for table in document["bass"][name]["features"])
            for name in CURVES
        },
    )


def _metres(value_mm: float | None) -> float | None:
    """Return metres."""
    return None if value_mm is None else value_mm * 1e-3


def _feature(table: Mapping[str, Any]) -> Feature:
    """Return a feature."""
    return Feature(**{key: table[key] for key in _FEATURE_KEYS})


def _cause(table: Mapping[str, Any]) -> Cause | None:
    """Return a feature's likeliest cause, if there is one."""
    if not table.get("causes"):
        return None
    first = table["causes"][0]
    indices, partner = first["indices"], first.get("partner_indices")
    return Cause(
        cause=first["cause"],
        frequency_hz=first["frequency_hz"],
        score=first["score"],
        parts=first["parts"],
        indices=None if indices is None else tuple(indices),
        partner_indices=None if partner is None else tuple(partner),
        surface=first["surface"],
    )


def _positions(room: Mapping[str, Any] | None) -> Positions | None:
    """Return where everything stood, if the reading had a room file."""
    if room is None:
        return None
    left, right, seat = (
        Point(x_m=place[0], y_m=place[1], z_m=place[2])
        for place in (room["left_m"], room["right_m"], room["seat_m"])
    )
    return Positions(left=Loudspeaker(tweeter=left), right=Loudspeaker(tweeter=right), seat=seat)


def saved_responses(path: Path, table: Mapping[str, Any]) -> list[ImpulseResponse | None]:
    """Read the impulse responses beside a reading; None for a side that wasn't heard.

    Parameters
    ----------
    path : Path
        The reading.
    table : mapping
        Its ``impulse_responses``.

    Returns
    -------
    list of ImpulseResponse or None
        Left and right.

    Raises
    ------
    ReadingFileError
        If they are missing, or of another reading.
    """
    sound_path = responses_path(path)
    try:
        sound = read_sound(sound_path)
    except AudioFileError as problem:
        msg = f"{problem}; it belongs beside {path}: read the recording again with --json"
        raise ReadingFileError(msg) from problem
    if sound.samples.shape[0] != 2 or sound.sample_rate_hz != table["sample_rate_hz"]:
        msg = f"{sound_path} isn't the one that was saved with {path}: read the recording again"
        raise ReadingFileError(msg)
    return [
        ImpulseResponse(
            samples=samples,
            sample_rate_hz=sound.sample_rate_hz,
            start_s=table["start_s"],
            noise=np.zeros(0),
            band_hz=tuple(table["band_hz"]),
            gaps_hz=tuple(tuple(gap) for gap in gaps_hz),
        )
        if samples.any()
        else None
        for samples, gaps_hz in zip(
            sound.samples, (table["left_gaps_hz"], table["right_gaps_hz"]), strict=True
        )
    ]
