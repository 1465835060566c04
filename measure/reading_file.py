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
from typing import Any, Final

import numpy as np

from analysis.arrays import Float, Mask
from analysis.bass import BassSide, ExplainedFeature
from analysis.causes import Cause
from analysis.level import LevelDifference
from analysis.modes import Modes
from analysis.prediction import Curve
from analysis.reading import Reading
from analysis.responses import SideResponse
from analysis.room import Point
from measure.errors import ReadingFileError
from measure.recording_reader import FileReading

SCHEMA = 1

SIDES: Final[tuple[Curve, Curve]] = ("left", "right")


def responses_path(document: Path) -> Path:
    """Return where the impulse responses of a saved reading stand."""
    return document.with_name(document.stem + ".ir.wav")


def reading_document(
    file: FileReading, *, sweep: str, microphone: Mapping[str, Any] | None, spots: Mapping[str, str]
) -> dict[str, Any]:
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
        "recording": {
            "file": file.path.name,
            "channel": file.channel,
            "n_channels": file.n_channels,
            "sample_rate_hz": file.sample_rate_hz,
            "encoding": file.encoding,
            "duration_s": file.duration_s,
        },
        "sweep": sweep,
        "microphone": microphone,
        "air": {
            "temperature_c": reading.air.temperature_c,
            "relative_humidity_percent": reading.air.relative_humidity_percent,
            "speed_of_sound_m_s": reading.air.speed_of_sound_m_s,
            "speed_of_sound_std_m_s": reading.air.speed_of_sound_std_m_s,
            "formula": reading.air.formula,
        },
        "clock": {
            "drift_ppm": reading.aligned.clock.drift_ppm,
            "std_ppm": reading.aligned.clock.std_ppm,
            "measured": reading.aligned.clock.measured,
        },
        "arrival": _arrival(reading),
        "level": _level(reading),
        "polarity": _polarity(reading),
        "bass": _bass(reading, spots),
        "distortion": _distortion(reading),
        "room": _room(reading),
        "noise_snr_db": [
            {"octave_hz": centre_hz, "snr_db": value}
            for centre_hz, value in sorted(reading.snr_db.items())
        ],
        "checks": [
            {"name": check.name, "verdict": check.verdict, "detail": check.detail}
            for check in reading.checks
        ],
        "passes": [
            {
                "number": one.number,
                "side": one.side,
                "start_s": one.start_s,
                "found": one.found,
                "left_out": list(one.left_out),
            }
            for one in reading.passes
        ],
        "impulse_responses": {
            "start_s": _start_s(reading),
            "sample_rate_hz": reading.programme.sample_rate_hz,
            "band_hz": _band_hz(reading),
            "left_gaps_hz": _gaps_hz(reading.left),
            "right_gaps_hz": _gaps_hz(reading.right),
        },
    }


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


def _arrival(reading: Reading) -> dict[str, Any]:
    """Return the arrival's table."""
    found = reading.arrival
    table: dict[str, Any] = dict.fromkeys(
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


def _level(reading: Reading) -> dict[str, Any]:
    """Return the level's table."""
    level = reading.level
    direct = level.direct if level else None
    seat = level.seat if level else None
    return {
        "left_minus_right_db": direct.left_minus_right_db if direct else None,
        "std_db": direct.std_db if direct else None,
        "band_hz": list(direct.band_hz) if direct and direct.band_hz else None,
        "bands": _bands(direct),
        "seat_left_minus_right_db": seat.left_minus_right_db if seat else None,
        "seat_std_db": seat.std_db if seat else None,
        "seat_point_std_db": level.seat_point_std_db if level else None,
        "seat_band_hz": list(seat.band_hz) if seat and seat.band_hz else None,
        "seat_bands": _bands(seat),
        "withheld": [one.reason for one in (direct, seat) if one is not None and one.reason],
    }


def _bands(difference: LevelDifference | None) -> list[dict[str, Any]]:
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


def _polarity(reading: Reading) -> dict[str, Any]:
    """Return the polarity's table."""
    found = reading.polarity
    return {
        "left": found.left if found else None,
        "right": found.right if found else None,
        "matched": found.matched if found else None,
        "reasons": list(found.reasons) if found else [],
    }


def _bass(reading: Reading, spots: Mapping[str, str]) -> dict[str, Any]:
    """Return the bass's tables."""
    bass = reading.bass
    return {
        "left": _side(bass.left),
        "right": _side(bass.right),
        "both": _side(bass.both),
        "spots": dict(spots),
    }


def _side(side: BassSide | None) -> dict[str, Any]:
    """Return one curve; empty lists where there is none."""
    if side is None:
        return {
            "frequency_hz": [],
            "level_db": [],
            "sixth_octave_db": [],
            "third_octave_db": [],
            "level_std_db": [],
            "resolution_hz": None,
            "window_s": None,
            "features": [],
            "balance": [],
            "spots": None,
        }
    curve = side.curve
    return {
        "frequency_hz": curve.frequency_hz,
        "level_db": _covered(curve.level_db, curve.covered),
        "sixth_octave_db": _covered(curve.sixth_octave_db, curve.covered),
        "third_octave_db": _covered(curve.third_octave_db, curve.covered),
        "level_std_db": _covered(curve.level_std_db, curve.covered),
        "resolution_hz": curve.resolution_hz,
        "window_s": list(curve.window_s),
        "features": [_feature(one, worst=one in side.worst) for one in side.features],
        "balance": [
            {
                "band_hz": list(band.band_hz),
                "level_db": band.level_db,
                "std_db": band.std_db,
                "reason": band.reason,
            }
            for band in side.balance
        ],
        "spots": None
        if side.spots is None
        else {
            "n_spots": side.spots.n_spots,
            "frequency_hz": side.spots.frequency_hz,
            "level_db": side.spots.level_db,
            "spread_db": side.spots.spread_db,
        },
    }


def _covered(values: Float, covered: Mask) -> list[float | None]:
    """Return a curve with None where the sweep gives nothing."""
    return [float(value) if inside else None for value, inside in zip(values, covered, strict=True)]


def _feature(one: ExplainedFeature, *, worst: bool) -> dict[str, Any]:
    """Return one peak or dip."""
    feature = one.feature
    return {
        "kind": feature.kind,
        "frequency_hz": feature.frequency_hz,
        "frequency_std_hz": feature.frequency_std_hz,
        "level_db": feature.level_db,
        "level_std_db": feature.level_std_db,
        "prominence_db": feature.prominence_db,
        "width_hz": feature.width_hz,
        "q": feature.q,
        "decay_s": feature.decay_s,
        "decay_std_s": feature.decay_std_s,
        "n_spots_seen": one.n_spots_seen,
        "worst": worst,
        "causes": [_cause(cause) for cause in one.causes],
    }


def _cause(cause: Cause) -> dict[str, Any]:
    """Return one cause; its indices or its surface where it has them."""
    table: dict[str, Any] = {
        "cause": cause.cause,
        "frequency_hz": cause.frequency_hz,
        "score": cause.score,
        "parts": dict(cause.parts),
        "indices": list(cause.indices) if cause.indices is not None else None,
        "surface": cause.surface,
    }
    if cause.partner_indices is not None:
        table["partner_indices"] = list(cause.partner_indices)
    return table


def _distortion(reading: Reading) -> list[dict[str, Any]]:
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


def _room(reading: Reading) -> dict[str, Any] | None:
    """Return what the room file foretells."""
    prediction = reading.prediction
    if prediction is None:
        return None
    return {
        "schroeder_hz": prediction.schroeder_hz,
        "decay_s": prediction.decay_s,
        "decay_is_assumed": prediction.decay_is_assumed,
        "woofers_assumed_at_tweeters": prediction.positions.left.woofer_is_assumed
        or prediction.positions.right.woofer_is_assumed,
        "left_m": _point(prediction.positions.left.tweeter),
        "right_m": _point(prediction.positions.right.tweeter),
        "seat_m": _point(prediction.positions.seat),
        "half_angle_deg": prediction.positions.half_angle_deg,
        "left_minus_right_mm": prediction.positions.left_minus_right_m * 1e3,
        "modes": _modes(prediction.modes, np.abs(prediction.seat_shape)),
        "cancellations": [
            {
                "side": side,
                "surface": one.surface,
                "order": one.order,
                "frequency_hz": one.frequency_hz,
                "frequency_std_hz": one.frequency_std_hz,
                "depth_db": one.depth_db,
            }
            for side in SIDES
            for one in prediction.cancellations[side]
        ],
    }


def _point(point: Point) -> list[float]:
    """Return x, y and z."""
    return [point.x_m, point.y_m, point.z_m]


def _modes(modes: Modes, seat: Float) -> list[dict[str, Any]]:
    """Return the modes up to the curves' end."""
    return [
        {
            "frequency_hz": float(frequency_hz),
            "indices": [int(index) for index in indices],
            "kind": kind,
            "seat_shape": float(shape),
        }
        for frequency_hz, indices, kind, shape in zip(
            modes.frequency_hz, modes.indices, modes.kinds, seat, strict=True
        )
    ]


def stereo_responses(reading: Reading) -> Float:
    """Return both impulse responses as channels; silence for a side that wasn't heard."""
    sides = [side.response.samples if side else None for side in (reading.left, reading.right)]
    n_samples = max(samples.size for samples in sides if samples is not None)
    return np.stack([np.zeros(n_samples) if one is None else one for one in sides])


def load_document(path: Path) -> dict[str, Any]:
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
        msg = f"{path} has schema {document.get('schema')}, this program reads {SCHEMA}: update it"
        raise ReadingFileError(msg)
    return document
