"""Can the reading be trusted? Named checks, each with a verdict and a sentence.

Conventions: `pass` says that nothing was found, `warn` that the numbers stand but the
cause should go, `fail` that a number is spoilt and withheld. A clean recording passes
all of them. Every threshold is a constant here with its reason.

The facts come from the recording's samples (`clipping`, `too_quiet`, `hum`), from the
passes (`dropout`, `spoilt_pass`, `clock`, `cut_short`, `wrong_sweep`,
`silent_channel`, `automatic_gain`), from the responses (`noise`, `distortion`), from the
file (`resampled`), and from the room file (`geometry`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.alignment import Aligned
from analysis.arrays import Float
from analysis.deconvolution import LEAD_S
from analysis.programme import Programme
from analysis.quantisation import quantisation_step
from analysis.responses import SideResponse

NAMES = (
    "clipping",
    "too_quiet",
    "noise",
    "hum",
    "dropout",
    "silent_channel",
    "spoilt_pass",
    "clock",
    "wrong_sweep",
    "cut_short",
    "resampled",
    "distortion",
    "automatic_gain",
    "geometry",
)

FLAT_RUN = 3
"""Samples in a row at the extreme value that make a flat top."""

MIN_FLAT_RUNS = 4
"""A quantised crest may be flat once or twice, by chance."""

QUIET_DBFS = -72.0
"""Below this RMS a 16-bit file keeps less than 26 dB over its rounding noise."""

TOO_QUIET_STEPS_DB = 12.0
"""Sweep over rounding noise: less than this is no recording."""

NOISY_DB, TOO_NOISY_DB = 12.0, -6.0
"""Sweep over noise in an octave. The deconvolution gains some 40 dB over the first 50 ms,
so 12 dB leaves the direct sound clean; at -6 dB bass windows hold as much noise."""

NOISE_OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Judged here; lower ones depend on how low the loudspeaker plays."""

HUM_OVER_FLOOR = 30.0
"""A line this power ratio (15 dB) above its neighbourhood, in two harmonics or more of one
mains frequency, or 20 dB in one, is hum."""

HUM_DB = -46.0
"""Hum over sweep, in amplitude: above this it moves the bass curve at its frequency by
more than half a decibel (a 1.5 s window of a 6 s sweep weighs hum 12 times)."""

GAIN_STEP_DB, GAIN_FAIL_DB = 0.3, 1.5
"""Repeats of a pass are equal within some 0.01 dB unless a gain moved."""

GATE_DB = 12.0
"""Noise in the pauses this far below the noise beside the sweep means a gate."""

SILENT_DB = 30.0
"""A side this far below the other is not playing: common practice, no source."""

DISTORTION_PERCENT, DISTORTION_FAIL_PERCENT = 5.0, 30.0
"""Bass of small loudspeakers reaches some per cent at normal level: common practice, no
source; overload of an input or amplifier goes far beyond."""

CLOCK_PPM = 250.0
"""Two crystals of the poorest class sold, 100 ppm each, and some margin; more points to a
resampler somewhere."""

GEOMETRY_M = 0.05
"""Acoustic and taped difference may differ by this before something is exchanged."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Check:
    """One check's outcome.

    Attributes
    ----------
    name : str
    verdict : str
        "pass", "warn" or "fail".
    detail : str
        What was seen, and what to do about it.
    """

    name: str
    verdict: str
    detail: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Clipped:
    """Flat tops found.

    Attributes
    ----------
    n_runs : int
    level_dbfs : float
        Where they are flat.
    band_hz : tuple of float or None
        What the sweep was playing when it happened.
    """

    n_runs: int
    level_dbfs: float
    band_hz: tuple[float, float] | None


def find_clipping(
    samples: Float, sample_rate_hz: float, aligned: Aligned, programme: Programme
) -> Clipped:
    """Find flat tops at the recording's extreme values.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        As recorded, before any resampling.
    sample_rate_hz : float
    aligned : Aligned
    programme : Programme

    Returns
    -------
    Clipped
    """
    runs = np.concatenate([_flat_runs(samples, sign) for sign in (1, -1)])
    peak = float(np.abs(samples).max()) if samples.size else 0.0
    level_dbfs = 20 * np.log10(peak + 1e-12)
    if len(runs) < MIN_FLAT_RUNS:
        return Clipped(n_runs=0, level_dbfs=level_dbfs, band_hz=None)
    at_s = runs[:, 0] / sample_rate_hz
    played = []
    for used in aligned.passes:
        since_s = at_s - used.first / programme.sample_rate_hz - LEAD_S
        inside = (since_s > -0.01) & (since_s < programme.sweep.duration_s + 0.05)
        played.append(programme.sweep.frequency_at(np.maximum(since_s[inside], 0)))
    frequency_hz = np.concatenate(played) if played else np.zeros(0)
    band = (float(frequency_hz.min()), float(frequency_hz.max())) if frequency_hz.size else None
    return Clipped(n_runs=len(runs), level_dbfs=level_dbfs, band_hz=band)


def _flat_runs(samples: Float, sign: int) -> np.ndarray:
    """Return (start, stop) of runs at the largest value that are cut off, not rounded."""
    signed = samples * sign
    peak = float(signed.max())
    if peak <= 0:
        return np.zeros((0, 2), dtype=int)
    top = signed >= peak * (1 - 1e-4)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], top.astype(np.int8), [0]))))
    runs = edges.reshape(-1, 2)
    runs = runs[(np.diff(runs, axis=1)[:, 0] >= FLAT_RUN)]
    runs = runs[(runs[:, 0] > 0) & (runs[:, 1] < samples.size)]
    # A rounded crest leaves its plateau by one quantum; a cut-off one by a real slope.
    drop = np.maximum(
        peak - signed[runs[:, 0] - 1], peak - signed[np.minimum(runs[:, 1], samples.size - 1)]
    )
    return runs[drop > 3 * quantisation_step(samples)]


def check_clipping(clipped: Clipped) -> Check:
    """Judge flat tops."""
    if clipped.n_runs == 0:
        return Check(name="clipping", verdict="pass", detail="no flat tops")
    where = (
        f" while the sweep played {clipped.band_hz[0]:.0f} to {clipped.band_hz[1]:.0f} Hz"
        if clipped.band_hz
        else " outside the passes"
    )
    return Check(
        name="clipping",
        verdict="fail" if clipped.band_hz else "warn",
        detail=f"{clipped.n_runs} flat tops at {clipped.level_dbfs:.1f} dBFS{where}: turn the "
        "microphone's gain down and record again",
    )


def check_level(samples: Float, aligned: Aligned) -> Check:
    """Judge whether the recording uses enough of its range."""
    loudest = max(float(np.sqrt(np.mean(used.samples**2))) for used in aligned.passes)
    level_dbfs = 20 * np.log10(loudest + 1e-12)
    quantum = quantisation_step(samples)
    over_db = level_dbfs - 20 * np.log10(quantum / np.sqrt(12)) if quantum else np.inf
    if over_db < TOO_QUIET_STEPS_DB:
        verdict = "fail"
    elif level_dbfs < QUIET_DBFS:
        verdict = "warn"
    else:
        return Check(
            name="too_quiet", verdict="pass", detail=f"sweep recorded at {level_dbfs:.0f} dBFS RMS"
        )
    return Check(
        name="too_quiet",
        verdict=verdict,
        detail=f"the sweep is only {level_dbfs:.0f} dBFS RMS in the file: turn the microphone's "
        "gain up (not the loudspeakers) and record again",
    )


def check_noise(snr_db: dict[float, float]) -> Check:
    """Judge the sweep's level over the noise per octave.

    Parameters
    ----------
    snr_db : dict
        Octave centre in Hz to sweep over noise in dB, the worse loudspeaker.
    """
    judged = {centre_hz: snr_db[centre_hz] for centre_hz in NOISE_OCTAVES_HZ if centre_hz in snr_db}
    listed = ", ".join(f"{centre_hz:.0f} Hz {value:.0f} dB" for centre_hz, value in judged.items())
    if not judged:
        return Check(name="noise", verdict="warn", detail="the sweep covers no octave to judge by")
    worst_hz = min(judged, key=lambda centre_hz: judged[centre_hz])
    worst_db = judged[worst_hz]
    if worst_db >= NOISY_DB:
        return Check(name="noise", verdict="pass", detail=f"sweep over noise: {listed}")
    verdict = "warn" if worst_db >= TOO_NOISY_DB else "fail"
    return Check(
        name="noise",
        verdict=verdict,
        detail=f"only {worst_db:.0f} dB of sweep over noise at {worst_hz:.0f} Hz ({listed}): "
        "switch off fans and heating, close the window, or make a longer sweep",
    )


def octave_snr_db(
    sides: tuple[SideResponse | None, ...], programme: Programme
) -> dict[float, float]:
    """Return the sweep's level over the noise at the microphone per octave, the worse side.

    Parameters
    ----------
    sides : tuple of SideResponse or None
    programme : Programme

    Returns
    -------
    dict
        Octave centre in Hz to dB, for octaves wholly swept.

    Notes
    -----
    After deconvolution a response of energy E and a noise of power p a second stand as
    they did before it; the sweep spends one octave's time on the energy of an octave, so
    the ratio at the microphone is E / (p times that time).
    """
    octave_s = programme.sweep.duration_s / programme.sweep.octaves
    worst: dict[float, float] = {}
    for side in sides:
        if side is None:
            continue
        response = side.response
        rate_hz = response.sample_rate_hz
        signal = np.abs(fft.rfft(response.samples)) ** 2
        noise = np.abs(fft.rfft(response.noise)) ** 2 * response.n_repeats
        duration_s = response.noise.size / rate_hz
        for centre_hz in (16.0, 31.5, *NOISE_OCTAVES_HZ, 16000.0):
            low_hz, high_hz = centre_hz / np.sqrt(2), centre_hz * np.sqrt(2)
            if low_hz < programme.sweep.start_hz or high_hz > programme.sweep.stop_hz:
                continue
            power = _band_mean(noise, response.noise.size, rate_hz, low_hz, high_hz) / duration_s
            energy = _band_mean(signal, response.samples.size, rate_hz, low_hz, high_hz)
            energy = max(energy - power * response.samples.size / rate_hz / response.n_repeats, 0)
            ratio_db = 10 * np.log10((energy + 1e-30) / (power * octave_s + 1e-30))
            worst[centre_hz] = min(worst.get(centre_hz, np.inf), float(ratio_db))
    return worst


def _band_mean(
    power: Float, n_samples: int, sample_rate_hz: float, low_hz: float, high_hz: float
) -> float:
    """Return the mean of a spectrum between two frequencies."""
    first, last = (int(np.ceil(edge * n_samples / sample_rate_hz)) for edge in (low_hz, high_hz))
    return float(power[first : max(last, first + 1)].mean())


def quiet_stretch(samples: Float, aligned: Aligned, programme: Programme) -> Float:
    """Return the longest stretch without a sweep: before the passes or after them."""
    rate_hz = programme.sample_rate_hz
    begin = min(used.first for used in aligned.passes)
    end = max(used.first + used.samples.size for used in aligned.passes)
    before, after = samples[: max(0, begin)], samples[min(end, samples.size) :]
    return before if before.size >= after.size or before.size > rate_hz else after


@dataclass(frozen=True, kw_only=True, slots=True)
class Hum:
    """Mains hum found in a quiet stretch.

    Attributes
    ----------
    lines_hz : tuple of float
        Empty where there is none that matters.
    level_db : float
        All lines together, re the sweep.
    listened : bool
        Whether there was a stretch long enough to look in.
    """

    lines_hz: tuple[float, ...]
    level_db: float
    listened: bool


def find_hum(quiet: Float, aligned: Aligned, sample_rate_hz: float) -> Hum:
    """Look for mains hum in a stretch without the sweep.

    Parameters
    ----------
    quiet : ndarray, shape (n,)
    aligned : Aligned
        For the sweep's level.
    sample_rate_hz : float

    Returns
    -------
    Hum
    """
    if quiet.size < 0.5 * sample_rate_hz:
        return Hum(lines_hz=(), level_db=-np.inf, listened=False)
    window = np.hanning(quiet.size)
    power = np.abs(fft.rfft((quiet - quiet.mean()) * window)) ** 2
    bin_hz = sample_rate_hz / quiet.size
    sweep_rms = max(float(np.sqrt(np.mean(used.samples**2))) for used in aligned.passes)
    for mains_hz in (50.0, 60.0):
        lines = [_line(power, mains_hz * order, bin_hz) for order in range(1, 7)]
        strong = [line for line in lines if line[0] > HUM_OVER_FLOOR]
        if not strong or (len(strong) == 1 and strong[0][0] < 100):
            continue
        amplitude = np.sqrt(sum(line[1] for line in strong) * 2 / (window**2).sum() / quiet.size)
        level_db = 20 * np.log10(amplitude / (sweep_rms + 1e-12) + 1e-12)
        if level_db > HUM_DB:
            lines_hz = tuple(line[2] for line in strong)
            return Hum(lines_hz=lines_hz, level_db=float(level_db), listened=True)
    return Hum(lines_hz=(), level_db=-np.inf, listened=True)


def check_hum(hum: Hum) -> Check:
    """Judge mains hum."""
    if not hum.listened:
        return Check(
            name="hum", verdict="pass", detail="no quiet stretch long enough to look for hum in"
        )
    if not hum.lines_hz:
        return Check(name="hum", verdict="pass", detail="no mains hum that matters")
    heard = ", ".join(f"{line_hz:.1f}" for line_hz in hum.lines_hz[:3])
    return Check(
        name="hum",
        verdict="warn",
        detail=f"mains hum at {heard} Hz, {hum.level_db:.0f} dB re the sweep: peaks and dips "
        "there are left out; look for a ground loop or a power supply near the microphone's "
        "cable",
    )


def _line(power: Float, frequency_hz: float, bin_hz: float) -> tuple[float, float, float]:
    """Return a line's ratio to its neighbourhood, its power, and its frequency."""
    centre, reach = round(frequency_hz / bin_hz), max(2, round(0.6 / bin_hz))
    wide = max(reach + 4, round(8 / bin_hz))
    if centre - wide < 1 or centre + wide >= power.size:
        return 0.0, 0.0, frequency_hz
    near = power[centre - reach : centre + reach + 1]
    around = np.concatenate(
        (power[centre - wide : centre - reach - 1], power[centre + reach + 2 : centre + wide])
    )
    floor = float(np.median(around)) / np.log(2) + 1e-30
    at = int(np.argmax(near))
    return float(near[at]) / floor, float(near.sum()), (centre - reach + at) * bin_hz


def check_dropout(aligned: Aligned, sample_rate_hz: float) -> Check:
    """Judge lost, repeated and zeroed blocks."""
    seen = [
        f"{block.n_samples} samples {block.kind} at {block.at / sample_rate_hz:.3f} s"
        for block in aligned.blocks
    ]
    clock = aligned.clock
    if clock.jump_after is not None:
        n_samples = round(abs(clock.jump_s) * sample_rate_hz)
        what = "lost" if clock.jump_s < 0 else "repeated"
        after = aligned.passes[clock.jump_after]
        if clock.placed:
            at_s = (after.first + after.samples.size) / sample_rate_hz
            seen.append(f"{n_samples} samples {what} in the pause near {at_s:.1f} s")
        else:
            return Check(
                name="dropout",
                verdict="fail",
                detail="; ".join(
                    [
                        *seen,
                        "samples were lost or repeated in a pause, and it can't be told in which",
                    ]
                )
                + ": the arrival is withheld; close other programs, use a larger buffer, and "
                "record again",
            )
    if not seen:
        return Check(name="dropout", verdict="pass", detail="no missing or repeated block")
    return Check(
        name="dropout",
        verdict="warn",
        detail="; ".join(seen) + ": left out or mended; close other programs before the next "
        "recording",
    )


def check_silent(
    sides: tuple[SideResponse | None, SideResponse | None], programme: Programme
) -> Check:
    """Judge whether both loudspeakers played."""
    names = ("left", "right")
    absent = [
        name
        for name, letter, side in zip(names, "LR", sides, strict=True)
        if side is None and letter in programme.order
    ]
    if absent:
        return Check(
            name="silent_channel",
            verdict="fail",
            detail=f"the {' and '.join(absent)} loudspeaker was not heard: check its cable, the "
            "balance control and the channel",
        )
    energy_db = [
        10 * np.log10(float((side.response.samples**2).sum()) + 1e-30)
        for side in sides
        if side is not None
    ]
    if len(energy_db) == 2 and abs(energy_db[0] - energy_db[1]) > SILENT_DB:
        quieter = names[int(np.argmin(energy_db))]
        return Check(
            name="silent_channel",
            verdict="fail",
            detail=f"the {quieter} loudspeaker is {abs(energy_db[0] - energy_db[1]):.0f} dB below "
            "the other: it may be silent, and what was heard crosstalk",
        )
    return Check(name="silent_channel", verdict="pass", detail="both loudspeakers were heard")


def check_spoilt(aligned: Aligned, sides: tuple[SideResponse | None, SideResponse | None]) -> Check:
    """Judge foreign sounds in the passes."""
    seen = []
    for at, used in enumerate(aligned.passes):
        gaps = aligned.harm.foreign_s[at]
        if gaps:
            when = ", ".join(f"{begin:.1f}-{end:.1f} s" for begin, end in gaps[:3])
            seen.append(f"{_called(used.side)} pass {used.index + 1} at {when} of its sweep")
    gaps_hz = [
        f"{low:.0f}-{high:.0f} Hz of the {name}"
        for name, side in zip(("left", "right"), sides, strict=True)
        if side is not None
        for low, high in side.response.gaps_hz
    ]
    if not seen and not gaps_hz:
        return Check(name="spoilt_pass", verdict="pass", detail="no foreign sound in the passes")
    heard = "foreign sound in " + "; ".join(seen) if seen else "part of a side is missing"
    if gaps_hz:
        return Check(
            name="spoilt_pass",
            verdict="fail",
            detail=f"{heard}: no clean data for {', '.join(gaps_hz)}; record again in quiet",
        )
    return Check(
        name="spoilt_pass",
        verdict="warn",
        detail=f"{heard}: that stretch was left out, the other pass serves there",
    )


def _called(side: str) -> str:
    """Return a side's word."""
    return "left" if side == "L" else "right"


def check_clock(aligned: Aligned) -> Check:
    """Judge the clock difference."""
    clock = aligned.clock
    if not clock.measured:
        return Check(
            name="clock",
            verdict="fail",
            detail="no repeat was left to tell the clock difference, so the arrival carries "
            "±100 ppm over the time between left and right; record the whole programme",
        )
    text = f"recorder {clock.drift_ppm:+.2f} ± {clock.std_ppm:.2f} ppm against the player"
    if abs(clock.drift_ppm) > CLOCK_PPM:
        return Check(
            name="clock",
            verdict="warn",
            detail=f"{text}: more than two crystals differ by, a sample-rate converter may be in "
            "the way; it was taken out",
        )
    return Check(name="clock", verdict="pass", detail=f"{text}; taken out")


def check_sweep(*, foreign: bool) -> Check:
    """Judge whether another sweep was heard as well."""
    if foreign:
        return Check(
            name="wrong_sweep",
            verdict="warn",
            detail="something swept that isn't this programme was heard as well: is this the "
            "recording of that sheet?",
        )
    return Check(name="wrong_sweep", verdict="pass", detail="the sweep is the sheet's")


def check_cut(aligned: Aligned, programme: Programme) -> Check:
    """Judge whether the whole programme was recorded."""
    rate_hz = programme.sample_rate_hz
    swept = (programme.sweep.duration_s + LEAD_S) * rate_hz
    cut = [
        used.index + 1
        for used in aligned.passes
        if used.present.start > LEAD_S * rate_hz or used.present.stop < swept
    ]
    used_indices = {used.index for used in aligned.passes}
    absent = [index + 1 for index in range(len(programme.order)) if index not in used_indices]
    if not aligned.placement.sides_certain:
        return Check(
            name="cut_short",
            verdict="fail",
            detail="too few passes were recorded to tell which loudspeaker they belong to: start "
            "recording before the programme and stop after it",
        )
    if not cut and not absent:
        return Check(name="cut_short", verdict="pass", detail="all passes were recorded whole")
    parts = []
    if absent:
        parts.append(f"pass {', '.join(map(str, absent))} missing")
    if cut:
        parts.append(f"pass {', '.join(map(str, cut))} cut off")
    return Check(
        name="cut_short",
        verdict="warn",
        detail=f"{' and '.join(parts)}: start recording before the programme and stop after it",
    )


def check_resampled(recorded_hz: float, programme: Programme) -> Check:
    """Say whether the recording had to be resampled, and what that cost."""
    if recorded_hz == programme.sample_rate_hz:
        return Check(
            name="resampled", verdict="pass", detail=f"recorded at {recorded_hz:.0f} Hz, as played"
        )
    text = f"recorded at {recorded_hz:.0f} Hz, resampled to {programme.sample_rate_hz} Hz"
    if programme.sweep.stop_hz * 0.95 > 0.46 * recorded_hz:
        lost = f"{0.46 * recorded_hz:.0f} Hz"
        verdict = "pass" if recorded_hz >= 44_000 else "warn"
        return Check(name="resampled", verdict=verdict, detail=f"{text}; used up to {lost}")
    return Check(name="resampled", verdict="pass", detail=text)


def check_distortion(worst: tuple[float, float, int] | None) -> Check:
    """Judge harmonic distortion.

    Parameters
    ----------
    worst : tuple of (per cent, frequency in Hz, order) or None
        The largest harmonic that stands above the noise.
    """
    if worst is None:
        return Check(name="distortion", verdict="pass", detail="no harmonic stands above the noise")
    percent, frequency_hz, order = worst
    text = f"harmonic {order} reaches {percent:.1f} % at {frequency_hz:.0f} Hz"
    if percent < DISTORTION_PERCENT:
        return Check(name="distortion", verdict="pass", detail=text)
    return Check(
        name="distortion",
        verdict="warn" if percent < DISTORTION_FAIL_PERCENT else "fail",
        detail=f"{text}: something is overloaded, play or record more quietly and compare",
    )


def check_gain(
    sides: tuple[SideResponse | None, SideResponse | None],
    *,
    pause_power: float,
    beside_power: float,
) -> Check:
    """Judge whether a gain moved between passes, or gated the pauses.

    Parameters
    ----------
    sides : tuple of SideResponse or None
    pause_power, beside_power : float
        Noise in the pauses and beside the sweep, over the same bands; NaN if unknown.
    """
    steps = [float(np.ptp(side.level_db)) for side in sides if side is not None]
    step_db = max(steps, default=0.0)
    gate_db = 10 * np.log10(beside_power / pause_power) if pause_power > 0 < beside_power else 0.0
    advice = "switch automatic gain, noise suppression and echo cancelling off at the input"
    if step_db > GAIN_STEP_DB:
        return Check(
            name="automatic_gain",
            verdict="warn" if step_db < GAIN_FAIL_DB else "fail",
            detail=f"the level moved by {step_db:.1f} dB between passes of one loudspeaker: "
            + advice,
        )
    if gate_db > GATE_DB:
        return Check(
            name="automatic_gain",
            verdict="warn",
            detail=f"the noise falls by {gate_db:.0f} dB in the pauses, as a gate does: " + advice,
        )
    return Check(
        name="automatic_gain",
        verdict="pass",
        detail=f"passes of one loudspeaker agree within {step_db:.2f} dB",
    )


def check_geometry(
    acoustic_m: float | None, acoustic_std_m: float, taped_m: float | None, taped_std_m: float
) -> Check:
    """Compare the acoustic left-minus-right distance with the taped one."""
    if taped_m is None:
        return Check(name="geometry", verdict="pass", detail="no room file to compare with")
    if acoustic_m is None:
        return Check(name="geometry", verdict="pass", detail="no arrival to compare with")
    apart_m = abs(acoustic_m - taped_m)
    opposite = (
        acoustic_m * taped_m < 0
        and abs(acoustic_m) > 2 * acoustic_std_m
        and abs(taped_m) > 2 * taped_std_m
    )
    text = (
        f"left minus right is {acoustic_m * 1e3:+.1f} mm by sound and {taped_m * 1e3:+.0f} mm by "
        "the room file"
    )
    if opposite or apart_m > GEOMETRY_M:
        return Check(
            name="geometry",
            verdict="warn",
            detail=f"{text}: channels swapped, or left and right exchanged in the room file?",
        )
    return Check(name="geometry", verdict="pass", detail=text)
