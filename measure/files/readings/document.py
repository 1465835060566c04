"""A reading as JSON, and its impulse responses as WAV beside it.

Conventions: every key is always there; a number that isn't had is null with its reason
in ``checks``, a list that isn't had is empty. ``docs/reading.md`` lists each key with its
unit. The impulse responses stand in ``NAME.ir.wav``: 32-bit float, channel 1 left,
channel 2 right, one common time axis whose start is in the JSON.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from analysis.basics.arrays import Float
from analysis.pair.level import LevelDifference
from analysis.reading import Reading
from analysis.recording.responses import SideResponse
from measure.errors import ReadingFileError
from measure.files.migration import another_schema
from measure.files.output import JsonObject
from measure.files.readings.bass_document import bass_document, room_document
from measure.files.readings.recording_reader import FileReading

SCHEMA = 1


def responses_path(document: Path) -> Path:
    """Return where the impulse responses of a saved reading stand."""
    return document.with_name(document.stem + ".ir.wav")


def reading_document(
    file: FileReading, *, sweep: str, microphone: Mapping[str, Any] | None, spots: Mapping[str, str]
) -> JsonObject:
    """Return a reading as JSON knows it.

    Parameters
    ----------
    file : FileReading
    sweep : str
        The sheet's or sweep's name.
    microphone : mapping or None
        What was applied.
    spots : mapping of str to str
        Where the other recordings were made, and their files.

    Returns
    -------
    dict
    """
    reading = file.reading
    return {
        "schema": SCHEMA,
        "command": "read",
        "usable": reading.usable,
        "recording": _recording(file),
        "sweep": sweep,
        "microphone": microphone,
        "air": _air(reading),
        "clock": _clock(reading),
        "arrival": _arrival(reading),
        "sameness": _sameness(reading),
        "level": _level(reading),
        "polarity": _polarity(reading),
        "bass": bass_document(reading.bass, spots),
        "distortion": _distortion(reading),
        "room": room_document(reading.prediction),
        "noise_snr_db": [
            {"octave_hz": centre_hz, "snr_db": value}
            for centre_hz, value in sorted(reading.snr_db.items())
        ],
        "checks": [
            {"name": check.name, "verdict": check.verdict, "detail": check.detail}
            for check in reading.checks
        ],
        "passes": _passes(reading),
        "impulse_responses": {
            "start_s": _start_s(reading),
            "sample_rate_hz": reading.programme.sample_rate_hz,
            "band_hz": _band_hz(reading),
            "left_gaps_hz": _gaps_hz(reading.left),
            "right_gaps_hz": _gaps_hz(reading.right),
        },
    }


def _recording(file: FileReading) -> JsonObject:
    """Return what was read."""
    return {
        "file": file.path.name,
        "channel": file.channel,
        "n_channels": file.n_channels,
        "sample_rate_hz": file.sample_rate_hz,
        "encoding": file.encoding,
        "duration_s": file.duration_s,
    }


def _air(reading: Reading) -> JsonObject:
    """Return the air."""
    return {
        "temperature_c": reading.air.temperature_c,
        "relative_humidity_percent": reading.air.relative_humidity_percent,
        "speed_of_sound_m_s": reading.air.speed_of_sound_m_s,
        "speed_of_sound_std_m_s": reading.air.speed_of_sound_std_m_s,
        "formula": reading.air.formula,
    }


def _clock(reading: Reading) -> JsonObject:
    """Return the clock difference."""
    return {
        "drift_ppm": reading.aligned.clock.drift_ppm,
        "std_ppm": reading.aligned.clock.std_ppm,
        "measured": reading.aligned.clock.measured,
    }


def _passes(reading: Reading) -> list[JsonObject]:
    """Return what was used of each pass."""
    return [
        {
            "number": one.number,
            "side": one.side,
            "start_s": one.start_s,
            "found": one.found,
            "left_out": list(one.left_out),
        }
        for one in reading.passes
    ]


def _start_s(reading: Reading) -> float | None:
    """Return the common time of the first sample of the impulse responses."""
    sides = [side for side in (reading.left, reading.right) if side is not None]
    return sides[0].response.start_s if sides else None


def _band_hz(reading: Reading) -> list[float] | None:
    """Return the band that the impulse responses hold."""
    sides = [side for side in (reading.left, reading.right) if side is not None]
    return list(sides[0].response.band_hz) if sides else None


def _gaps_hz(side: SideResponse | None) -> list[list[float]]:
    """Return the frequency ranges without clean data."""
    return [] if side is None else [list(gap) for gap in side.response.gaps_hz]


def _arrival(reading: Reading) -> JsonObject:
    """Return the arrival's table."""
    found = reading.arrival
    table: JsonObject = dict.fromkeys(
        (
            "left_minus_right_us",
            "left_minus_right_mm",
            "std_mm",
            "in_room_std_mm",
            "noise_std_mm",
            "mismatch_std_mm",
            "clock_std_mm",
            "check_left_minus_right_mm",
            "methods_agree",
            "left_s",
            "right_s",
            "gate_s",
        )
    )
    if found is None:
        return table | {"withheld": _reason(reading)}
    table |= {
        "left_s": found.left_s,
        "right_s": found.right_s,
        "gate_s": list(found.gate_s),
        "withheld": found.withheld,
    }
    if found.difference_s is None:
        return table
    return table | {
        "left_minus_right_us": found.difference_s * 1e6,
        "left_minus_right_mm": _mm(found.difference_m),
        "std_mm": _mm(found.std_m),
        "in_room_std_mm": _mm(found.in_room_std_m),
        "noise_std_mm": _mm(found.noise_std_m),
        "mismatch_std_mm": _mm(found.mismatch_std_m),
        "clock_std_mm": _mm(found.clock_std_m),
        "check_left_minus_right_mm": None
        if found.check_difference_s is None
        else _mm(found.check_difference_s * reading.air.speed_of_sound_m_s),
        "methods_agree": found.agree,
    }


def _mm(value_m: float | None) -> float | None:
    """Return millimetres."""
    return None if value_m is None else value_m * 1e3


def _reason(reading: Reading) -> str:
    """Return why there is no arrival at all."""
    failed = [check.detail for check in reading.checks if check.verdict == "fail"]
    return "; ".join(failed) or "not both loudspeakers were heard"


def _sameness(reading: Reading) -> JsonObject:
    """Return whether left and right are one sound, and what tells it."""
    found = reading.sameness
    if found is None:
        return {"state": None, "gain_db": None, "cells": []}
    return {
        "state": found.state,
        "gain_db": found.gain_db,
        "cells": [
            {
                "octave_hz": cell.octave_hz,
                "part": cell.part,
                "residual_db": cell.residual_db,
                "repeats_db": cell.repeats_db,
                "limit_db": cell.limit_db,
            }
            for cell in found.cells
        ],
    }


def _level(reading: Reading) -> JsonObject:
    """Return the level's table."""
    level = reading.level
    direct = level.direct if level else None
    seat = level.seat if level else None
    return {
        "left_minus_right_db": direct.left_minus_right_db if direct else None,
        "std_db": direct.std_db if direct else None,
        "noise_std_db": direct.noise_std_db if direct else None,
        "band_hz": list(direct.band_hz) if direct and direct.band_hz else None,
        "bands": _bands(direct),
        "seat_left_minus_right_db": seat.left_minus_right_db if seat else None,
        "seat_std_db": seat.std_db if seat else None,
        "seat_point_std_db": level.seat_point_std_db if level else None,
        "seat_band_hz": list(seat.band_hz) if seat and seat.band_hz else None,
        "seat_bands": _bands(seat),
        "withheld": [one.reason for one in (direct, seat) if one is not None and one.reason],
    }


def _bands(difference: LevelDifference | None) -> list[JsonObject]:
    """Return third octaves."""
    if difference is None:
        return []
    return [
        {
            "centre_hz": band.centre_hz,
            "left_minus_right_db": band.left_minus_right_db,
            "std_db": band.std_db,
        }
        for band in difference.bands
    ]


def _polarity(reading: Reading) -> JsonObject:
    """Return the polarity's table."""
    found = reading.polarity
    return {
        "left": found.left if found else None,
        "right": found.right if found else None,
        "matched": found.matched if found else None,
        "reasons": list(found.reasons) if found else [],
    }


def _distortion(reading: Reading) -> list[JsonObject]:
    """Return the harmonics."""
    return [
        {
            "side": side,
            "order": level.order,
            "frequency_hz": level.frequency_hz,
            "level_db": level.level_db,
            "source_level_db": level.source_level_db,
            "is_bound": level.is_bound,
        }
        for side, level in reading.distortion
    ]


def stereo_responses(reading: Reading) -> Float:
    """Return both impulse responses as channels; silence for a side that wasn't heard."""
    sides = [side.response.samples if side else None for side in (reading.left, reading.right)]
    n_samples = max(samples.size for samples in sides if samples is not None)
    return np.stack([np.zeros(n_samples) if one is None else one for one in sides])


def load_document(path: Path) -> Mapping[str, Any]:
    """Load a saved reading.

    Parameters
    ----------
    path : Path

    Returns
    -------
    dict

    Raises
    ------
    ReadingFileError
        If it can't be read, or isn't a reading that this program knows.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        msg = f"can't read {path}: {problem.strerror}"
        raise ReadingFileError(msg) from problem
    except (UnicodeDecodeError, json.JSONDecodeError) as problem:
        msg = f"{path} isn't a saved reading: give what `apexline read --json` wrote"
        raise ReadingFileError(msg) from problem
    if not isinstance(document, dict) or document.get("command") != "read":
        msg = f"{path} isn't a saved reading: give what `apexline read --json` wrote"
        raise ReadingFileError(msg)
    if document.get("schema") != SCHEMA:
        raise ReadingFileError(another_schema(path, document.get("schema"), SCHEMA))
    return document
