"""All that one recording says of a pair: the whole analysis in its order.

Conventions: as everywhere, left minus right is positive where the left is later,
farther or louder. A number that can't be supported is None; its reason is in the
checks. `Reading` is what every command, figure and report starts from.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from analysis.basics.air import Air
from analysis.basics.arrays import Float
from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.bass.bass import Bass, add_causes, measured_decay_s, read_bass
from analysis.pair.arrival import ArrivalMatch, match_arrivals, tells_arrival, withhold_difference
from analysis.pair.direct_gate import direct_gate_s
from analysis.pair.level import LevelMatch, match_levels
from analysis.pair.polarity import PolarityMatch, match_polarity
from analysis.pair.sameness import Sameness, check_sameness, compare_sides
from analysis.recording.alignment import AlignedPasses, PassSummary, align_passes, summarise_passes
from analysis.recording.checks.automatic_gain import check_gain, measure_pause_noise
from analysis.recording.checks.channels import check_channel
from analysis.recording.checks.check import Check
from analysis.recording.checks.clipping import check_clipping, find_clipping
from analysis.recording.checks.hum import Hum, check_hum, find_hum, quiet_stretch
from analysis.recording.checks.loop_back import check_loop_back
from analysis.recording.checks.microphone import check_microphone
from analysis.recording.checks.passes import (
    check_clock,
    check_cut_short,
    check_disturbance,
    check_dropout,
    check_silent,
    check_sweep,
    waive_timing_checks,
)
from analysis.recording.checks.recording import (
    check_distortion,
    check_geometry,
    check_level,
    check_resampled,
    exchanged_sides_check,
    have_opposite_signs,
    measure_distortion,
    worst_harmonic,
)
from analysis.recording.dropouts.zero_blocks import find_zero_blocks, quantisation_step
from analysis.recording.responses import SideResponse, average_passes, sides_with_a_whole_pass
from analysis.recording.signal_to_noise import check_noise, octave_snr_db
from analysis.room.prediction import Prediction, predict, tweeter_echoes_s
from analysis.room.room import Positions, Room
from analysis.signals.harmonics import HarmonicLevel
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.programme import Programme
from analysis.signals.resampling import resample

LARGEST_WITH_JUMP_M = 0.15
"""Left and right are set up by tape before they are measured, so they are rarely so far apart.
Two losses in the pauses of four passes can look like one and a large difference."""

ROOM_FILE_DISTANCE_STD_M = 0.01
"""One sigma of a taped distance to a tweeter over a room: common practice, no source."""

TAPED_DIFFERENCE_STD_M = ROOM_FILE_DISTANCE_STD_M * math.sqrt(2)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Reading:
    """What one recording says.

    Attributes
    ----------
    usable : bool
        Whether the match of the pair can be acted on: no check failed and the arrival
        is there.
    distortion : tuple of (str, HarmonicLevel)
        Side and harmonic.
    sameness : Sameness or None
        Whether left and right are one sound; None where a side or a room wasn't heard.
    prediction : Prediction or None
        What the room is expected to do, with its file.
    snr_db : dict
        Octave centre in Hz to sweep over noise in dB, the worse side.
    """

    usable: bool
    air: Air
    programme: Programme
    passes: tuple[PassSummary, ...]
    aligned: AlignedPasses
    left: SideResponse | None
    right: SideResponse | None
    arrival: ArrivalMatch | None
    sameness: Sameness | None
    level: LevelMatch | None
    polarity: PolarityMatch | None
    distortion: tuple[tuple[str, HarmonicLevel], ...]
    bass: Bass
    prediction: Prediction | None
    checks: tuple[Check, ...]
    snr_db: dict[float, float]

    @property
    def contradicted_by_tape(self) -> bool:
        """Whether sound and tape surely call different loudspeakers the farther one."""
        arrival, prediction = self.arrival, self.prediction
        if arrival is None or arrival.difference_m is None or prediction is None:
            return False
        return have_opposite_signs(
            (arrival.difference_m, arrival.in_room_std_m or 0.0),
            (prediction.positions.left_minus_right_m, TAPED_DIFFERENCE_STD_M),
        )


def read_recording(
    recorded: Float,
    *,
    recorded_hz: float,
    programme: Programme,
    air: Air,
    room: tuple[Room, Positions] | None = None,
    microphone_db: tuple[Float, Float] | None = None,
) -> Reading:
    """Read one channel of a recording of a programme.

    Parameters
    ----------
    recorded : ndarray, shape (n,)
        As recorded, at its own sampling frequency.
    air : Air
        For the speed of sound.
    room : tuple of (Room, Positions), optional
        For the causes of the bass's features and the geometry check.
    microphone_db : tuple of ndarray, optional
        Frequency in Hz and correction in dB to add.

    Raises
    ------
    analysis.recording.extraction.NoPassError
        If the programme isn't heard.
    """
    rate_hz = programme.sample_rate_hz
    samples, aligned = _align(recorded, recorded_hz, programme)
    top_hz = min(programme.sweep.stop_hz, 0.46 * recorded_hz)
    sides = average_passes(aligned, programme, top_hz=top_hz, microphone_db=microphone_db)
    hum = find_hum(quiet_stretch(samples, aligned, programme), aligned, rate_hz)
    checks = _recording_checks(recorded, recorded_hz, samples.size, hum, aligned, programme, sides)
    snr_db = octave_snr_db(sides, programme)
    whole = sides_with_a_whole_pass(sides, aligned)
    bass, prediction = _read_bass(whole, hum, air, room)
    checks["noise"] = check_noise(snr_db)
    sameness = _compare_sides(sides, checks)
    checks["same_sound"] = check_sameness(sameness)
    failed = {name for name, check in checks.items() if check.verdict == "fail"}
    repair_std_s = _repair_std_s(aligned, rate_hz, recorded_hz)
    arrival = _match_arrivals(sides, aligned, air, failed, repair_std_s=repair_std_s)
    if arrival is not None and arrival.withheld and not failed - {"noise"}:
        check = _withheld_check(arrival, aligned, snr_db)
        checks[check.name] = check
    level = _match_levels(sides, arrival, failed, tweeter_echoes_s(*room, air) if room else [])
    at_s = (0.0, 0.0) if arrival is None else (arrival.left_s, arrival.right_s)
    distortion = measure_distortion(whole, at_s, programme.sweep, clock_ratio=aligned.clock.ratio)
    checks["distortion"] = check_distortion(worst_harmonic(distortion))
    checks["geometry"] = _check_geometry(arrival, room[1] if room else None)
    verdicts = {check.verdict for check in checks.values()}
    heard = arrival is not None and arrival.difference_s is not None
    return Reading(
        usable=heard and "fail" not in verdicts,
        air=air,
        programme=programme,
        passes=summarise_passes(aligned, programme),
        aligned=aligned,
        left=sides[0],
        right=sides[1],
        arrival=arrival,
        sameness=sameness,
        level=level,
        polarity=None if "same_sound" in failed else _match_polarity(sides, arrival),
        distortion=distortion,
        bass=bass,
        prediction=prediction,
        checks=tuple(checks.values()),
        snr_db=snr_db,
    )


def compare_channels(reading: Reading, taken: int, rivals: Mapping[int, Reading]) -> Reading:
    """Return the reading of one channel, held against those of others that hear the sweep as well.

    Where they disagree on the arrival it depends on which is the microphone at the seat: arrival,
    level and polarity are withheld.

    Parameters
    ----------
    taken : int
        The reading's channel, from 0.
    rivals : mapping of int to Reading
        Channel to reading.
    """
    differing = [at for at, other in rivals.items() if _differ(reading.arrival, other.arrival)]
    agreeing = [at for at in rivals if at not in differing]
    judged = check_channel(taken, agreeing, differing)
    checks = tuple(judged if check.name == judged.name else check for check in reading.checks)
    if not differing or reading.arrival is None:
        return replace(reading, checks=checks)
    return replace(
        reading,
        usable=False,
        arrival=withhold_difference(reading.arrival, "the channels disagree"),
        level=None,
        polarity=None,
        checks=checks,
    )


def _differ(one: ArrivalMatch | None, other: ArrivalMatch | None) -> bool:
    """Return whether two arrivals differ by more than the microphone's place leaves uncertain."""
    if one is None or other is None or one.difference_m is None or other.difference_m is None:
        return False
    std_m = math.hypot(one.in_room_std_m or 0.0, other.in_room_std_m or 0.0)
    return abs(one.difference_m - other.difference_m) > COVERAGE_FACTOR * std_m


_Sides = tuple[SideResponse | None, SideResponse | None]


def _align(
    recorded: Float, recorded_hz: float, programme: Programme
) -> tuple[Float, AlignedPasses]:
    """Bring a recording to the programme's sampling frequency, and find its passes."""
    scale = programme.sample_rate_hz / recorded_hz
    zeroed = tuple(
        replace(block, at=round(block.at * scale), n_samples=round(block.n_samples * scale))
        for block in find_zero_blocks(recorded, recorded_hz)
    )
    samples = resample(recorded, recorded_hz, programme.sample_rate_hz)
    return samples, align_passes(
        samples,
        programme,
        zeroed=zeroed,
        rounding_step=quantisation_step(recorded),
        recorded_hz=recorded_hz,
    )


def _read_bass(
    sides: _Sides, hum: Hum, air: Air, room: tuple[Room, Positions] | None
) -> tuple[Bass, Prediction | None]:
    """Read the bass, with its causes where the room is known."""
    bass = read_bass(*(side.response if side else None for side in sides), hum_hz=hum.lines_hz)
    if room is None:
        return bass, None
    place, positions = room
    decay_s = measured_decay_s(bass)
    prediction = predict(place, positions, air, decay_s=decay_s)
    return add_causes(bass, prediction), prediction


def _recording_checks(
    recorded: Float,
    recorded_hz: float,
    n_samples: int,
    hum: Hum,
    aligned: AlignedPasses,
    programme: Programme,
    sides: _Sides,
) -> dict[str, Check]:
    """Run the checks that need the recording, in the order in which they are listed."""
    checks = [
        check_clipping(find_clipping(recorded, recorded_hz, aligned, programme)),
        check_level(recorded, aligned),
        Check(name="noise", verdict="pass", detail=""),
        check_hum(hum),
        check_dropout(aligned, sides, programme.sample_rate_hz),
        check_silent(sides, programme),
        check_channel(0),
        check_loop_back(sides),
        Check(name="same_sound", verdict="pass", detail=""),
        check_disturbance(aligned, sides, programme, n_samples),
        check_clock(aligned, programme),
        check_microphone(aligned),
        check_sweep(aligned, programme),
        check_cut_short(aligned, sides, programme, n_samples),
        check_resampled(recorded_hz, programme),
        Check(name="distortion", verdict="pass", detail=""),
        check_gain(sides, measure_pause_noise(aligned.spectrogram, programme.sweep)),
    ]
    both = _both_responses(sides)
    if both is not None and not tells_arrival(*both):
        checks = waive_timing_checks(checks, aligned)
    return {check.name: check for check in checks}


def _both_responses(sides: _Sides) -> tuple[ImpulseResponse, ImpulseResponse] | None:
    """Return both responses, or None if one is missing."""
    left, right = sides
    return (left.response, right.response) if left and right else None


def _compare_sides(sides: _Sides, checks: dict[str, Check]) -> Sameness | None:
    """Say whether left and right are one sound, unless no pair, no room or no treble was heard."""
    both = _both_responses(sides)
    if both is None or not tells_arrival(*both):
        return None
    if "fail" in {checks[name].verdict for name in ("silent_channel", "loop_back")}:
        return None
    return compare_sides(*both)


def _repair_std_s(aligned: AlignedPasses, rate_hz: float, recorded_hz: float) -> float:
    """Return what mended blocks leave uncertain in the arrival, one sigma.

    A lost block is a whole number of the recorder's samples. Where the recording was
    resampled that is no whole number of ours, and one pass of two may be out by one.
    """
    repaired = sum(block.kind != "zeroed" for block in aligned.blocks)
    return 0.0 if rate_hz == recorded_hz else 0.5 * math.sqrt(repaired) / rate_hz


def _match_arrivals(
    sides: _Sides, aligned: AlignedPasses, air: Air, failed: set[str], *, repair_std_s: float
) -> ArrivalMatch | None:
    """Match the arrivals, unless the recording can't tell them."""
    both = _both_responses(sides)
    spoilt = failed & {"silent_channel", "wrong_sweep", "too_quiet", "loop_back"}
    lost = not (aligned.clock.jump_located and aligned.assignment.sides_certain)
    # An unknown clock widens the uncertainty; an impossible one says that something is wrong.
    impossible = "clock" in failed and aligned.clock.measured
    if both is None or spoilt or (tells_arrival(*both) and (lost or impossible)):
        return None
    match = match_arrivals(
        *both,
        speed_of_sound_m_s=air.speed_of_sound_m_s,
        clock_std_s=math.hypot(aligned.clock.left_right_std_s, repair_std_s),
    )
    if "same_sound" in failed:
        return withhold_difference(match, "nothing tells left and right from one sound")
    if aligned.repeats.is_too_uncertain:
        return withhold_difference(match, "the passes of one loudspeaker don't fit together")
    apart_m = abs(match.difference_m or 0.0)
    if aligned.clock.jump_after is None or apart_m < LARGEST_WITH_JUMP_M:
        return match
    reason = (
        f"samples were lost in a pause, and with one such loss left and right come out "
        f"{apart_m:.2f} m apart, which is more likely a second loss"
    )
    return withhold_difference(match, reason)


def _withheld_check(
    arrival: ArrivalMatch, aligned: AlignedPasses, snr_db: dict[float, float]
) -> Check:
    """Return the check that fails where nothing else says why there is no difference."""
    if aligned.clock.jump_after is None or arrival.is_too_narrow:
        return check_noise(snr_db, arrival.withheld)
    detail = (
        f"the arrival is withheld: {arrival.withheld}; record again, by a cable if it was wireless"
    )
    return Check(name="dropout", verdict="fail", detail=detail)


def _match_levels(
    sides: _Sides, arrival: ArrivalMatch | None, failed: set[str], predicted_s: list[float]
) -> LevelMatch | None:
    """Match the levels, unless the recording's gain can't be trusted."""
    both = _both_responses(sides)
    spoilt = failed & {"silent_channel", "clipping", "automatic_gain", "too_quiet", "same_sound"}
    if both is None or spoilt or arrival is None or arrival.is_too_narrow:
        return None
    gate_s = direct_gate_s(
        (both[0], arrival.left_s), (both[1], arrival.right_s), predicted_s=predicted_s
    )
    return match_levels(*both, left_s=arrival.left_s, right_s=arrival.right_s, gate_s=gate_s)


def _match_polarity(sides: _Sides, arrival: ArrivalMatch | None) -> PolarityMatch | None:
    """Match the polarities where both loudspeakers were heard."""
    both = _both_responses(sides)
    if both is None or arrival is None or arrival.is_too_narrow:
        return None
    return match_polarity(*both, left_s=arrival.left_s, right_s=arrival.right_s)


def _check_geometry(arrival: ArrivalMatch | None, positions: Positions | None) -> Check:
    """Hold the acoustic difference against the room file's."""
    if positions is not None and positions.exchanged:
        return exchanged_sides_check()
    acoustic_m = arrival.difference_m if arrival is not None else None
    std_m = arrival.in_room_std_m if arrival is not None and acoustic_m is not None else 0.0
    taped_m = positions.left_minus_right_m if positions is not None else None
    return check_geometry(acoustic_m, std_m or 0.0, taped_m, TAPED_DIFFERENCE_STD_M)
