"""What goes wrong with recordings, planted where the caller says.

Conventions: every function takes a recording, shape (n,), and returns a new one; times are
recorder seconds from its first sample; levels in dB are relative to full scale. Nothing
draws random numbers unless it is given a generator, so each fault can be made again.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter, resample_poly

from benchmarks.recorder import interpolated, noise_samples

Float = NDArray[np.float64]


def hum(
    samples: Float,
    *,
    sample_rate_hz: float,
    mains_hz: float = 50.0,
    level_dbfs: float,
    harmonics_db: tuple[float, ...] = (0.0, -6.0, -10.0, -20.0),
) -> Float:
    """Add mains hum: the fundamental's peak at `level_dbfs`, its harmonics below it."""
    time_s = np.arange(samples.size) / sample_rate_hz
    total = np.zeros(samples.size)
    for index, level_db in enumerate(harmonics_db):
        amplitude = 10 ** ((level_dbfs + level_db) / 20)
        total += amplitude * np.sin(2 * np.pi * mains_hz * (index + 1) * time_s + index)
    return samples + total


def clipped(samples: Float, *, limit: float) -> Float:
    """Clip hard at plus and minus `limit`."""
    return np.clip(samples, -limit, limit)


def dropped(samples: Float, *, sample_rate_hz: float, at_s: float, length_s: float) -> Float:
    """Lose a block: what follows comes earlier."""
    first, last = _span(sample_rate_hz, at_s, length_s)
    return np.concatenate([samples[:first], samples[last:]])


def repeated(samples: Float, *, sample_rate_hz: float, at_s: float, length_s: float) -> Float:
    """Play a block twice: what follows comes later."""
    first, last = _span(sample_rate_hz, at_s, length_s)
    return np.concatenate([samples[:last], samples[first:]])


def zeroed(samples: Float, *, sample_rate_hz: float, at_s: float, length_s: float) -> Float:
    """Set a block to zero: what follows keeps its place."""
    first, last = _span(sample_rate_hz, at_s, length_s)
    result = samples.copy()
    result[first:last] = 0
    return result


def replaced(samples: Float, *, sample_rate_hz: float, at_s: float, length_s: float) -> Float:
    """Put the block before in a block's place, as a starved sound driver does."""
    first, last = _span(sample_rate_hz, at_s, length_s)
    result = samples.copy()
    result[first:last] = samples[first - (last - first) : first]
    return result


def slam(
    samples: Float,
    *,
    sample_rate_hz: float,
    at_s: float,
    level_dbfs: float,
    rng: np.random.Generator,
) -> Float:
    """Add a door: a sharp edge, then a low rumble that dies away within half a second."""
    time_s = np.arange(round(1.0 * sample_rate_hz)) / sample_rate_hz
    knock = rng.standard_normal(time_s.size) * np.exp(-time_s / 0.01)
    low = math.exp(-2 * np.pi * 120 / sample_rate_hz)
    rumble = lfilter([1 - low], [1, -low], rng.standard_normal(time_s.size))
    rumble /= np.std(rumble)
    burst = 0.3 * knock + rumble * (1 - np.exp(-time_s / 0.003)) * np.exp(-time_s / 0.12)
    return _added(samples, burst, sample_rate_hz, at_s, level_dbfs)


def click(samples: Float, *, sample_rate_hz: float, at_s: float, level_dbfs: float) -> Float:
    """Add a click: a single exponential decay of 0.1 ms."""
    time_s = np.arange(round(0.002 * sample_rate_hz)) / sample_rate_hz
    return _added(samples, np.exp(-time_s / 1e-4), sample_rate_hz, at_s, level_dbfs)


def cough(
    samples: Float,
    *,
    sample_rate_hz: float,
    at_s: float,
    level_dbfs: float,
    rng: np.random.Generator,
) -> Float:
    """Add a cough: a burst of wide-band noise and a weaker voiced end, 0.35 s."""
    time_s = np.arange(round(0.5 * sample_rate_hz)) / sample_rate_hz
    burst = rng.standard_normal(time_s.size) * np.exp(-time_s / 0.05) * (1 - np.exp(-time_s / 2e-3))
    later = np.clip((time_s - 0.15) / 0.05, 0, 1) * np.exp(-np.clip(time_s - 0.15, 0, None) / 0.08)
    voice = later * np.sign(np.sin(2 * np.pi * 180 * time_s)) * 0.4
    return _added(
        samples, _formant(burst + voice, sample_rate_hz, 900, 700), sample_rate_hz, at_s, level_dbfs
    )


def babble(
    samples: Float,
    *,
    sample_rate_hz: float,
    at_s: float,
    length_s: float,
    level_dbfs: float,
    rng: np.random.Generator,
) -> Float:
    """Add speech-like sound: a gliding voice and hiss through formants, in syllables."""
    time_s = np.arange(round(length_s * sample_rate_hz)) / sample_rate_hz
    pitch_hz = 130 + 25 * np.sin(2 * np.pi * 0.7 * time_s + rng.uniform(0, 6))
    voice = np.sin(np.cumsum(2 * np.pi * pitch_hz / sample_rate_hz))
    pulses = np.maximum(voice, 0) ** 8
    syllables = np.clip(np.sin(2 * np.pi * 4.1 * time_s + rng.uniform(0, 6)) + 0.4, 0, None)
    source = syllables * (pulses - np.mean(pulses) + 0.05 * rng.standard_normal(time_s.size))
    speech = sum(
        _formant(source, sample_rate_hz, centre_hz, width_hz)
        for centre_hz, width_hz in ((600, 120), (1500, 180), (2700, 250))
    )
    return _added(samples, np.asarray(speech), sample_rate_hz, at_s, level_dbfs)


def tone(
    samples: Float,
    *,
    sample_rate_hz: float,
    at_s: float,
    length_s: float,
    level_dbfs: float,
    frequency_hz: float = 880.0,
) -> Float:
    """Add another device's sound: a tone of two harmonics with soft ends."""
    time_s = np.arange(round(length_s * sample_rate_hz)) / sample_rate_hz
    ends = np.clip(np.minimum(time_s, length_s - time_s) / 0.01, 0, 1)
    phase = 2 * np.pi * frequency_hz * time_s
    sound = ends * (np.sin(phase) + 0.3 * np.sin(2 * phase))
    return _added(samples, sound, sample_rate_hz, at_s, level_dbfs)


def automatic_gain(
    samples: Float,
    *,
    sample_rate_hz: float,
    target_dbfs: float = -20.0,
    most_gain_db: float = 20.0,
    attack_s: float = 0.05,
    release_s: float = 1.5,
) -> Float:
    """Hold the level near a target, fast when it is too loud and slow when too quiet."""
    frame = max(round(0.005 * sample_rate_hz), 1)
    n_frames = -(-samples.size // frame)
    power = np.zeros(n_frames * frame)
    power[: samples.size] = np.square(samples)
    level_db = 10 * np.log10(power.reshape(n_frames, frame).mean(axis=1) + 1e-12)
    wanted_db = np.minimum(target_dbfs - level_db, most_gain_db)
    gain_db = np.empty(n_frames)
    now = 0.0
    for index, wanted in enumerate(wanted_db):
        time_constant_s = attack_s if wanted < now else release_s
        now += (wanted - now) * (1 - math.exp(-frame / sample_rate_hz / time_constant_s))
        gain_db[index] = now
    centre = (np.arange(n_frames) + 0.5) * frame
    return samples * 10 ** (np.interp(np.arange(samples.size), centre, gain_db) / 20)


def noise_gate(
    samples: Float,
    *,
    sample_rate_hz: float,
    threshold_dbfs: float,
    depth_db: float = 40.0,
    release_s: float = 0.2,
) -> Float:
    """Turn the gain down by `depth_db` where the level falls below a threshold."""
    fall = math.exp(-1 / (release_s * sample_rate_hz))
    level = np.sqrt(lfilter([1 - fall], [1, -fall], np.square(samples)))
    is_open = (level > 10 ** (threshold_dbfs / 20)).astype(float)
    smooth = math.exp(-1 / (0.01 * sample_rate_hz))
    gain_db = lfilter([1 - smooth], [1, -smooth], depth_db * (is_open - 1))
    return np.asarray(samples * 10 ** (gain_db / 20))


def gain_step(samples: Float, *, sample_rate_hz: float, at_s: float, step_db: float) -> Float:
    """Turn a knob at one moment."""
    result = samples.copy()
    result[round(at_s * sample_rate_hz) :] *= 10 ** (step_db / 20)
    return result


def offset(samples: Float, *, level: float) -> Float:
    """Add a constant (direct current)."""
    return samples + level


def quantised(samples: Float, *, bits: int) -> Float:
    """Round to `bits` bits a sample, without dither, and clip at full scale."""
    steps = 2.0 ** (bits - 1)
    return np.clip(np.round(samples * steps), -steps, steps - 1) / steps


def clock_wander(
    samples: Float, *, sample_rate_hz: float, peak_ppm: float, period_s: float
) -> Float:
    """Let the clock's rate swing as a sine of `peak_ppm`, mean zero over a period."""
    time_s = np.arange(samples.size) / sample_rate_hz
    turn = 2 * np.pi / period_s
    moved_s = peak_ppm * 1e-6 * (1 - np.cos(turn * time_s)) / turn
    return interpolated(samples, (time_s - moved_s) * sample_rate_hz)


def clock_ramp(samples: Float, *, sample_rate_hz: float, ppm: float, over_s: float) -> Float:
    """Let the clock's rate change evenly, by `ppm` in every `over_s` seconds."""
    time_s = np.arange(samples.size) / sample_rate_hz
    moved_s = ppm * 1e-6 / over_s * time_s**2 / 2
    return interpolated(samples, (time_s - moved_s) * sample_rate_hz)


def clock_walk(
    samples: Float, *, sample_rate_hz: float, ppm: float, over_s: float, rng: np.random.Generator
) -> Float:
    """Let the clock's rate walk at random, by `ppm` (one sigma) in `over_s` seconds."""
    steps = rng.standard_normal(samples.size) * ppm * 1e-6 / math.sqrt(over_s * sample_rate_hz)
    moved = np.cumsum(np.cumsum(steps))
    return interpolated(samples, np.arange(samples.size) - moved)


def cut(samples: Float, *, sample_rate_hz: float, start_s: float = 0, end_s: float = 0) -> Float:
    """Cut seconds from the start and from the end."""
    last = samples.size - round(end_s * sample_rate_hz)
    return samples[round(start_s * sample_rate_hz) : last].copy()


def resampled(samples: Float, *, sample_rate_hz: int, to_hz: int) -> Float:
    """Convert to another rate by a long polyphase filter, as a file converter does."""
    common = math.gcd(sample_rate_hz, to_hz)
    return np.asarray(
        resample_poly(samples, to_hz // common, sample_rate_hz // common, window=("kaiser", 10.0))
    )


def among_channels(
    samples: Float,
    *,
    n_channels: int,
    microphone: int,
    sample_rate_hz: float,
    rng: np.random.Generator,
    noise_dbfs: float = -80.0,
) -> Float:
    """Return frames, shape (n, n_channels), with the recording in one channel, else noise."""
    frames = np.empty((samples.size, n_channels))
    for channel in range(n_channels):
        noise = noise_samples(samples.size, sample_rate_hz=sample_rate_hz, rng=rng)
        frames[:, channel] = noise * 10 ** (noise_dbfs / 20)
    frames[:, microphone] = samples
    return frames


def _span(sample_rate_hz: float, at_s: float, length_s: float) -> tuple[int, int]:
    first = round(at_s * sample_rate_hz)
    return first, first + round(length_s * sample_rate_hz)


def _added(
    samples: Float, sound: Float, sample_rate_hz: float, at_s: float, level_dbfs: float
) -> Float:
    """Return the recording with a sound of the given peak level added at a time."""
    first = round(at_s * sample_rate_hz)
    result = samples.copy()
    end = min(first + sound.size, result.size)
    peak = np.max(np.abs(sound))
    result[first:end] += sound[: end - first] * 10 ** (level_dbfs / 20) / peak
    return result


def _formant(source: Float, sample_rate_hz: float, centre_hz: float, width_hz: float) -> Float:
    """Return the source through one resonance."""
    radius = math.exp(-np.pi * width_hz / sample_rate_hz)
    angle = 2 * np.pi * centre_hz / sample_rate_hz
    return np.asarray(lfilter([1, 0, -1], [1, -2 * radius * math.cos(angle), radius**2], source))
