"""The rig itself, with plain sounddevice: what it is told comes back, and nothing else.

Truth: known input. What was played is known to the sample, so what the room must deliver is
computed here without the rig.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal as dsp
from sound_rig import Rig, need_packages, open_rig
from sound_server import ENDS_WITH_PARENT, is_running, wait_until

SEED = 20
RATES_HZ = (44_100, 48_000, 96_000)
at_every_rate = pytest.mark.parametrize("standing_rig", RATES_HZ, ids="{} Hz".format, indirect=True)

Float = NDArray[np.float64]


def noise(n_frames: int) -> Float:
    """Return two unlike channels, as single precision has them."""
    draw = np.random.default_rng(SEED).uniform(-0.1, 0.1, (2, n_frames))
    return draw.astype(np.float32).astype(np.float64)


def heard_from(rig: Rig, played: Float) -> Float:
    """Play with silence around, and return what came back from the wire's first sample."""
    padded = np.pad(played, ((0, 0), (100, 3 * rig.sample_rate_hz // 4)))
    recorded = rig.play(padded)
    assert np.isfinite(recorded).all()
    start = np.flatnonzero(recorded[1])[0]
    return recorded[:, start : start + played.shape[1]].astype(np.float64)


def late(delay: float, n_taps: int = 255) -> Float:
    """Return an impulse that is late by a fraction of samples: a windowed sinc."""
    whole, fraction = divmod(delay, 1)
    taps = np.sinc(np.arange(n_taps) - n_taps // 2 - fraction) * np.kaiser(n_taps, 10)
    return np.pad(taps, (int(whole), 8 - int(whole)))


def delay_samples(received: Float, sent: Float) -> float:
    """Return the delay of one signal after another, from the slope of their cross-phase."""
    n_fft = 2 * len(sent)
    cross = np.fft.rfft(received, n_fft) * np.conj(np.fft.rfft(sent, n_fft))
    omega = np.fft.rfftfreq(n_fft) * 2 * np.pi
    band = omega < 0.5 * np.pi
    coarse = int(np.argmax(np.fft.irfft(cross)))
    rest = np.angle(cross * np.exp(1j * omega * coarse))[band]
    weight = np.abs(cross[band]) * omega[band]
    return coarse - np.sum(weight * rest) / np.sum(weight * omega[band])


@pytest.mark.parametrize("standing_rig", RATES_HZ, ids="{} Hz".format, indirect=True)
def test_a_planted_delay_comes_back(rig: Rig) -> None:
    # Known input: left is planted later by 12.34 µs (4.2 mm).
    planted_s = 12.34e-6
    rate_hz = rig.sample_rate_hz
    rig.furnish(np.stack((late(planted_s * rate_hz), late(0))))
    n = rate_hz // 4
    burst, silence = noise(n)[0], np.zeros(n)
    played = np.stack((np.r_[burst, silence, silence], np.r_[silence, silence, burst]))
    microphone = heard_from(rig, np.pad(played, ((0, 0), (0, n))))[0]
    left = delay_samples(microphone[: 2 * n], burst)
    right = delay_samples(microphone[2 * n :], burst)
    assert (left - right) / rate_hz == pytest.approx(planted_s, abs=0.02e-6)


def test_the_room_convolves_and_the_wire_copies(rig: Rig) -> None:
    # Second method: scipy's convolution of what was played.
    rng = np.random.default_rng(SEED + 1)
    responses = rng.standard_normal((2, 5_000)) * np.exp(-np.arange(5_000) / 1_000) * 0.02
    rig.furnish(responses)
    played = noise(20_000)
    microphone, wire = heard_from(rig, played)
    expected = dsp.fftconvolve(played, responses, axes=1).sum(axis=0)[: len(microphone)]
    assert np.array_equal(wire, played[0])
    np.testing.assert_allclose(microphone, expected, atol=1e-7 * np.abs(expected).max())


def test_it_works_in_real_time(rig: Rig) -> None:
    # Known input: the same as above, as slowly as a person would hear it.
    rig.tell("freewheel off")
    played = noise(12_000)
    microphone, wire = heard_from(rig, played)
    assert np.array_equal(wire, played[0])
    np.testing.assert_allclose(microphone, played.sum(axis=0), atol=1e-8)


def test_noise_is_what_was_asked_for(rig: Rig) -> None:
    # Known input: 72 000 draws, whose RMS is within 1.5 % (4 sigma) of the asked one.
    rig.tell("noise 0.01 3")
    microphone = rig.play(np.zeros((2, 72_000)))[0, 4_096:]
    assert np.std(microphone) == pytest.approx(0.01, rel=0.015)


def test_wiring_faults_begin_where_they_were_planted(rig: Rig) -> None:
    # Known input: loudspeakers of gain 1 and 0.3, so that exchanging them shows; each fault
    # acts on what the ones before it left.
    faults = {
        "swap": ((0, 1), (1, 0)),
        "invert left": ((-1, 0), (0, 1)),
        "invert right": ((1, 0), (0, -1)),
        "mute right": ((1, 0), (0, 0)),
        "gain 0.5": ((1, 0), (0, 1)),
        "mute left": ((0, 0), (0, 1)),
    }
    loudspeakers = np.array([1.0, 0.3])
    rig.furnish(loudspeakers[:, np.newaxis])
    played = noise(3_500 * (len(faults) + 1))
    expected = loudspeakers @ played
    sides = np.eye(2)
    for number, (fault, matrix) in enumerate(faults.items(), start=1):
        assert rig.tell(f"{fault} at {3_500 * number}") == ""
        sides = np.array(matrix) @ sides
        gain = 0.5 if number >= list(faults).index("gain 0.5") + 1 else 1.0
        later = slice(3_500 * number, None)
        expected[later] = gain * loudspeakers @ sides @ played[:, later]
    np.testing.assert_allclose(heard_from(rig, played)[0], expected, atol=1e-8)


def test_a_mute_microphone_hears_nothing(rig: Rig) -> None:
    # Known input: the wire goes on.
    rig.tell("mute microphone at 7000")
    played = noise(12_000)
    microphone, wire = heard_from(rig, played)
    np.testing.assert_allclose(microphone[:7_000], played.sum(axis=0)[:7_000], atol=1e-8)
    assert not microphone[7_000:].any()
    assert np.array_equal(wire, played[0])


def test_full_scale_cuts_off(rig: Rig) -> None:
    # Closed form: the microphone's converter knows nothing above 1.
    rig.tell("gain 20 at 5000")
    played = noise(9_000)
    expected = np.clip(played.sum(axis=0) * np.r_[np.ones(5_000), np.full(4_000, 20)], -1, 1)
    np.testing.assert_allclose(heard_from(rig, played)[0], expected, atol=1e-7)
    assert np.count_nonzero(np.abs(expected) == 1) > 1_000


def test_frames_are_dropped_and_blanked_on_both_channels(rig: Rig) -> None:
    # Known input: in the second of two sounds, then later 100 zeros; the first stays whole.
    rig.tell("drop 480 at 2000 of 2")
    rig.tell("blank 100 at 5500 of 2")
    sound, silence = noise(6_000), np.zeros((2, 12_000))
    got = heard_from(rig, np.concatenate((sound, silence, sound, silence), axis=1))
    assert np.array_equal(got[1, :6_000], sound[0])
    second = sound[0].copy()
    second[5_500:5_600] = 0
    second = np.delete(second, np.s_[2_000:2_480])
    for channel, whole in enumerate((sound.sum(axis=0), sound[0])):
        expected = np.delete(np.where(np.arange(6_000) // 100 == 55, 0, whole), np.s_[2_000:2_480])
        np.testing.assert_allclose(got[channel, 18_000:23_520], expected, atol=1e-8)


def test_the_room_says_what_it_heard(rig: Rig) -> None:
    # Known input: two sounds, the second from the right alone.
    sound, silence = noise(6_000), np.zeros((2, 12_000))
    right = sound * np.array([[0], [1]])
    rig.play(np.concatenate((sound, silence, right, silence), axis=1))
    first, second = rig.heard()
    assert first["end"] - first["start"] == 6_000
    assert second["start"] - first["start"] == 18_000
    assert first["peak"] == np.abs(sound).max(axis=1).tolist()
    assert second["energy"] == [0, pytest.approx(np.sum(sound[1] ** 2))]


@pytest.mark.thorough
def test_a_stall_ends_and_the_rig_goes_on(rig: Rig) -> None:
    # Known input: half a second in which the room answers nothing, in real time.
    rig.tell("freewheel off")
    rig.tell("stall 0.5 at 6000")
    rig.tell("tell woken at 6001")
    rig.play(noise(12_000))
    rig.await_event("woken")
    rig.restore()
    played = noise(6_000)
    assert np.array_equal(heard_from(rig, played)[1], played[0])


def test_unplugged_and_back(rig: Rig) -> None:
    # Known input: from frame 6000 on nothing arrives; after the return, everything.
    rig.tell("leave at 6000")
    played = noise(20_000)
    microphone, wire = heard_from(rig, played)
    rig.await_event("left")
    # What was still in store, and the block in which it left, are lost.
    assert np.array_equal(wire[:2_000], played[0, :2_000])
    assert not microphone[6_000:].any()
    rig.tell("return")
    assert np.array_equal(heard_from(rig, played)[1], played[0])


def test_a_wrong_command_is_refused(rig: Rig) -> None:
    # Invariant: a typing error in a test must not pass for a fault that did nothing.
    for command in ("gian 4", "gain", "swap at", "mute middle", "drop x"):
        with pytest.raises(AssertionError, match=command):
            rig.tell(command)


def test_nothing_is_left_running(tmp_path: Path) -> None:
    # Known input: the ids of what was started, and the server's own files.
    # Ours alone: other processes may have servers of their own.
    with open_rig(48_000, tmp_path) as rig:
        pids, place = rig.pids, rig.place
        ours = f"jack*{place.name}_*"
        assert all(map(is_running, pids))
        assert list(place.folder.glob(ours))
    assert not any(map(is_running, pids))
    assert not list(place.folder.glob(ours))


def test_the_children_end_with_their_parent(tmp_path: Path) -> None:
    # Known input: a process that opens a rig and is killed without a chance to tidy up.
    script = (
        "import sys, time, pathlib, sound_rig\n"
        "with sound_rig.open_rig(48_000, pathlib.Path(sys.argv[1])) as rig:\n"
        "    print(*rig.pids, flush=True)\n"
        "    time.sleep(60)\n"
    )
    command = [*ENDS_WITH_PARENT, sys.executable, "-c", script, str(tmp_path)]
    where = os.environ | {"PYTHONPATH": str(Path(__file__).parent)}
    with subprocess.Popen(command, env=where, stdout=subprocess.PIPE, text=True) as parent:
        pids = [int(word) for word in parent.stdout.readline().split()]
        assert len(pids) == 2
        assert all(map(is_running, pids))
        parent.send_signal(signal.SIGKILL)
    wait_until(lambda: not any(map(is_running, pids)))


def test_missing_packages_skip_here_and_fail_in_continuous_integration(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Known input: a machine on which nothing can be found.
    monkeypatch.setenv("PATH", os.devnull)
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="jackd2"):
        need_packages()
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="jackd2"):
        need_packages()
