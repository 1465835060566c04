"""Everything behind the verdict, section by section, at 78 columns without colour.

Conventions: as in `analysis.report.reading.verdict`; ``±`` is one standard deviation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from analysis.basics.air import Air
from analysis.bass.bass import Bass, BassSide, ExplainedFeature
from analysis.pair.arrival import ArrivalMatch
from analysis.pair.level import LevelMatch
from analysis.pair.polarity import PolarityMatch
from analysis.reading import Reading
from analysis.recording.alignment import PassSummary
from analysis.recording.clock import Clock
from analysis.report import format as fmt
from analysis.report.bass import cause_text, short_cause_text
from analysis.report.reading.verdict import ASSUMED_HALF_ANGLE_DEG
from analysis.report.room import prediction_lines
from analysis.signals.bands import nominal_label
from analysis.signals.harmonics import HarmonicLevel

Section = tuple[str, list[str]]
"""A heading and its lines."""

_SIGNS: Final = {1: "positive", -1: "inverted", None: "undecided"}


def detail_sections(
    reading: Reading,
    *,
    half_angle_deg: float | None = None,
    microphone: Sequence[str] = (),
    scores: bool = False,
) -> list[Section]:
    """Return what was measured, with all its parts.

    Parameters
    ----------
    half_angle_deg : float, optional
        As for `analysis.report.reading.verdict.verdict`.
    microphone : sequence of str
        What was done about the microphone's own response, a sentence each.
    scores : bool
        Whether every part of every cause's score is listed.

    Returns
    -------
    list of (str, list of str)
        Heading and lines; no line is longer than 78 columns.
    """
    if half_angle_deg is None and reading.prediction is not None:
        half_angle_deg = reading.prediction.positions.half_angle_deg
    named = [line for text in microphone for line in fmt.wrapped(text)]
    sections = [
        ("Checks", check_lines(reading)),
        ("Passes", pass_lines(reading.passes)),
        ("Clock", clock_lines(reading.aligned.clock)),
        ("Air", air_lines(reading.air)),
        ("Microphone", named or ["no correction applied"]),
        ("Arrival", arrival_lines(reading.arrival, half_angle_deg)),
        ("Level, left minus right", level_lines(reading.level)),
        ("Polarity", polarity_lines(reading.polarity)),
        ("Distortion", distortion_lines(reading.distortion)),
        ("Room", prediction_lines(reading.prediction)),
        *bass_sections(reading.bass),
    ]
    if scores:
        sections += score_sections(reading.bass)
    return [(heading, lines) for heading, lines in sections if lines]


def check_lines(reading: Reading) -> list[str]:
    """Return each check's verdict, name and sentence."""
    return [
        line
        for check in reading.checks
        for line in fmt.wrapped(
            f"{check.verdict:<5}{check.name.replace('_', ' ')}: {check.detail}", hanging=5
        )
    ]


def pass_lines(passes: Sequence[PassSummary]) -> list[str]:
    """Return where each pass was found and what of it was left out."""
    lines = []
    for one in passes:
        heard = "" if one.found else ", placed by the others"
        left_out = "; ".join(one.left_out)
        used = f"left out: {left_out}" if left_out else "used whole"
        text = f"{one.number}  {one.side:<5}  at {one.start_s:.2f} s{heard}: {used}"
        lines += fmt.wrapped(text, hanging=3)
    return lines


def clock_lines(clock: Clock) -> list[str]:
    """Return the clock difference and what it leaves uncertain."""
    if not clock.measured:
        text = f"not measured; taken as 0 ± {fmt.number(clock.std_ppm, places=0)} ppm"
    else:
        way = "fast" if clock.drift_ppm >= 0 else "slow"
        text = (
            f"recorder {fmt.number(abs(clock.drift_ppm), places=2)} ± "
            f"{fmt.number(clock.std_ppm, places=2)} ppm {way}, taken out"
        )
    lines = [text]
    if clock.jump_s:
        kind = "repeated" if clock.jump_s > 0 else "lost"
        where = (
            f"after pass {(clock.jump_after or 0) + 1}"
            if clock.jump_located
            else "it's not known where"
        )
        lines.append(f"{abs(clock.jump_s) * 1e3:.2f} ms {kind} between passes, {where}")
    lines.append(f"leaves {clock.left_right_std_s * 1e6:.3f} µs in left minus right")
    return lines


def air_lines(air: Air) -> list[str]:
    """Return the air and the speed of sound."""
    humidity = air.relative_humidity_percent
    damp = "" if humidity is None else f", {fmt.number(humidity, places=0)} % relative humidity"
    return [
        f"{fmt.with_std(air.temperature_c, air.temperature_std_c, '°C')}{damp}",
        f"speed of sound {fmt.with_std(air.speed_of_sound_m_s, air.speed_of_sound_std_m_s, 'm/s')}"
        f" ({air.formula})",
    ]


def arrival_lines(arrival: ArrivalMatch | None, half_angle_deg: float | None = None) -> list[str]:
    """Return the arrival difference, the parts of its uncertainty, and the second method."""
    if arrival is None:
        return ["withheld, see the checks"]
    if arrival.difference_m is None or arrival.difference_s is None or arrival.std_m is None:
        return fmt.wrapped(f"withheld: {arrival.withheld}")
    low_hz, high_hz = arrival.band_hz
    std_us = None if arrival.std_s is None else arrival.std_s * 1e6
    lines = [
        f"left minus right   {fmt.with_std(arrival.difference_s * 1e6, std_us, 'µs', sign=True)}"
        f" = {fmt.mm(arrival.difference_m, arrival.std_m, sign=True)}",
        f"  of this          noise {arrival.noise_std_m * 1e3:.2f}, unlike loudspeakers "
        f"{arrival.mismatch_std_m * 1e3:.2f}, clock {arrival.clock_std_m * 1e3:.2f} mm",
        f"in the room        {fmt.mm(arrival.difference_m, arrival.in_room_std_m, sign=True)}, "
        "with draughts and the microphone's place",
        f"found in           {fmt.band((low_hz, high_hz))}, gate "
        f"{fmt.number(arrival.gate_s[0] * 1e3, places=1)} to "
        f"{fmt.number(arrival.gate_s[1] * 1e3, places=1)} ms about the arrival",
    ]
    if arrival.check_difference_s is not None:
        agrees = "agrees" if arrival.agree else "DISAGREES"
        check = fmt.number(arrival.check_difference_s * 1e6, places=1, sign=True)
        lines.append(f"second method      {check} µs, by correlation: {agrees}")
    angle_deg = ASSUMED_HALF_ANGLE_DEG if half_angle_deg is None else half_angle_deg
    source = "assumed" if half_angle_deg is None else "by the room file"
    per_mm = 2 * math.sin(math.radians(angle_deg))
    lines.append(
        f"half-angle         {angle_deg:.1f}° {source}; a microphone 1 mm off makes {per_mm:.1f} mm"
    )
    return lines


def level_lines(level: LevelMatch | None) -> list[str]:
    """Return the level difference, broadband and in third octaves."""
    if level is None:
        return ["withheld, see the checks"]
    lines = []
    rows: dict[float, list[str]] = {}
    for column, (name, one) in enumerate((("direct sound", level.direct), ("seat", level.seat))):
        if one.left_minus_right_db is None or one.band_hz is None:
            lines += fmt.wrapped(f"{name}: withheld: {one.reason}", hanging=2)
            continue
        figure = fmt.with_std(one.left_minus_right_db, one.std_db, "dB", sign=True)
        lines.append(f"{name:<13}{figure}, {fmt.band(one.band_hz)}")
        for band in one.bands:
            row = rows.setdefault(band.centre_hz, ["", ""])
            if band.left_minus_right_db is not None:
                row[column] = fmt.db(band.left_minus_right_db, band.std_db, sign=True)
    if level.seat_point_std_db is not None:
        point = fmt.number(level.seat_point_std_db, places=1)
        lines.append(f"             from one place to the next the seat's varies by ±{point} dB")
    table: list[tuple[str, ...]] = [("third octave", "direct sound", "seat")]
    table += [(f"{nominal_label(f)} Hz".replace("k Hz", " kHz"), *rows[f]) for f in sorted(rows)]
    return lines + fmt.table(table, right=(0, 1, 2))


def polarity_lines(polarity: PolarityMatch | None) -> list[str]:
    """Return both polarities and the correlations that tell whether they agree."""
    if polarity is None:
        return ["not known, see the checks"]
    matched = {True: "alike", False: "NOT alike", None: "undecided"}[polarity.matched]
    lines = [f"left {_SIGNS[polarity.left]}, right {_SIGNS[polarity.right]}: {matched}"]
    low, high = (
        "not known" if value is None else fmt.number(value, places=2, sign=True)
        for value in (polarity.low_correlation, polarity.high_correlation)
    )
    lines.append(f"correlation of left with right: {low} below 700 Hz, {high} above")
    for reason in polarity.reasons:
        lines += fmt.wrapped(reason, hanging=2)
    return lines


def distortion_lines(distortion: Sequence[tuple[str, HarmonicLevel]]) -> list[str]:
    """Return the largest second and third harmonic of each side."""
    lines = []
    for side, harmonic in distortion:
        sure = [
            (float(level), float(frequency))
            for level, frequency, bound in zip(
                harmonic.level_db, harmonic.frequency_hz, harmonic.is_bound, strict=True
            )
            if not bound and math.isfinite(level)
        ]
        name = f"{side:<6}harmonic {harmonic.order}"
        if not sure:
            lines.append(f"{name}: below the noise")
            continue
        level_db, frequency_hz = max(sure)
        percent = 100 * 10 ** (level_db / 20)
        lines.append(
            f"{name}: at most {fmt.number(level_db, places=0)} dB ({percent:.2g} %), "
            f"at {fmt.hz(frequency_hz)}"
        )
    return lines


def bass_sections(bass: Bass) -> list[Section]:
    """Return one section for each bass curve."""
    titles = {"left": "left loudspeaker", "right": "right loudspeaker", "both": "both together"}
    return [(f"Bass, {titles[name]}", _bass_side_lines(side)) for name, side in bass.sides]


def _bass_side_lines(side: BassSide) -> list[str]:
    """Return balance and features of one curve."""
    lines = []
    for band in side.balance:
        level = (
            f"not known ({band.reason})"
            if band.level_db is None
            else fmt.with_std(band.level_db, band.std_db, "dB", sign=True)
        )
        lines.append(f"{fmt.band(band.band_hz):<14} {level} against 200 to 1000 Hz")
    lines.append(f"two features closer than {side.curve.resolution_hz:.1f} Hz merge")
    heads = ("", "Hz", "level", "promin.", "Q", "decay", "likely cause")
    rows: list[tuple[str, ...]] = [heads, *(_feature_row(one) for one in side.features)]
    if len(rows) == 1:
        return [*lines, "no peak or dip stands out"]
    return lines + fmt.table(rows, right=(1, 2, 3, 4, 5))


def _feature_row(one: ExplainedFeature) -> tuple[str, ...]:
    """Return one feature as cells."""
    feature = one.feature
    text = short_cause_text(one.causes[0])
    if one.n_positions_seen is not None:
        text += f", {one.n_positions_seen} spots" if one.advisable else ", here only"
    return (
        feature.kind,
        fmt.hz(feature.frequency_hz, feature.frequency_std_hz).removesuffix(" Hz"),
        fmt.number(feature.level_db, places=1, sign=True),
        fmt.number(feature.prominence_db, places=1),
        "" if feature.q is None else f"{feature.q:.0f}",
        "" if feature.decay_s is None else f"{feature.decay_s:.2f} s",
        text,
    )


def score_sections(bass: Bass) -> list[Section]:
    """Return every cause of every feature with the parts of its score."""
    sections = []
    for name, side in bass.sides:
        lines = []
        for one in side.features:
            lines.append(f"{one.feature.kind} at {fmt.hz(one.feature.frequency_hz)}")
            for cause in one.causes:
                parts = ", ".join(f"{key} {value:.3g}" for key, value in cause.parts.items())
                text = f"{cause.score:.3f}  {cause_text(cause)}" + (f": {parts}" if parts else "")
                lines += fmt.wrapped(text, indent=2, hanging=7)
        sections.append((f"Scores of the causes, {name}", lines))
    return sections
