"""Watching a run: what stops it, and that nothing is left sounding."""

from __future__ import annotations

import math

import numpy as np
import pytest

from measure.errors import DeviceLostError, StoppedError, TakeError
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.keys import Keys
from measure.sound.path import STOP_WITHIN_S
from measure.sound.simulation.faults import Fault
from measure.sound.simulation.room import SimulatedRoom
from measure.sound.watch import POLL_S, Watch, open_run

RATE_HZ = 48_000


class Typed(Keys):
    """A keyboard on which a key is pressed at the n-th look."""

    def __init__(self, looks: int) -> None:
        super().__init__()
        self._looks = looks

    def pressed(self) -> str:
        """Return the key once its time has come."""
        self._looks -= 1
        return "x" if self._looks <= 0 else ""


def watched(room: SimulatedRoom, *, keys: Keys | None = None, seconds: float = 2.0) -> int:
    """Play a tone and watch it; return the frames recorded."""
    tone = 0.05 * np.sin(2 * np.pi * 500 * np.arange(2 * RATE_HZ) / RATE_HZ)
    n_frames = round(seconds * RATE_HZ)
    ledger = MemoryLedger(room.time_s)
    with open_run(room, np.stack((tone, tone)), ledger=ledger, n_frames=n_frames) as run:
        Watch(room, run, keys or Keys()).until(n_frames)
    return run.n_recorded


def test_a_run_goes_to_its_end() -> None:
    assert watched(SimulatedRoom(pace=math.inf)) == 2 * RATE_HZ


def test_a_key_stops_the_sound_within_its_time() -> None:
    # Known input: a key at the hundredth look. What the room hears after that is at most
    # the time to the next look and the fade; then only the room's own decay.
    room = SimulatedRoom(pace=math.inf, reference=True, latency_s=0.01, clock_ppm=0)
    tone = 0.05 * np.sin(2 * np.pi * 500 * np.arange(2 * RATE_HZ) / RATE_HZ)
    ledger = MemoryLedger(room.time_s)
    with open_run(room, np.stack((tone, tone)), ledger=ledger, n_frames=4 * RATE_HZ) as run:
        with pytest.raises(StoppedError, match="by a key"):
            Watch(room, run, Typed(100)).until(4 * RATE_HZ)
        pressed = run.n_recorded
        run.stop()
        room.wait(0.2)
        wire = run.recorded[1, : run.n_recorded]
    last = int(np.flatnonzero(np.abs(wire) > 1e-6)[-1])
    assert 0 < last - pressed < (STOP_WITHIN_S + POLL_S) * RATE_HZ


def test_what_was_not_played_is_given_back() -> None:
    # Known input: a treble tone of which a twentieth sounds; the rest may be played later.
    room = SimulatedRoom(pace=math.inf)
    ledger = MemoryLedger(room.time_s)
    tone = 0.1 * np.sin(2 * np.pi * 5000 * np.arange(20 * RATE_HZ) / RATE_HZ)
    tone *= np.minimum(1, np.minimum(np.arange(tone.size), np.arange(tone.size)[::-1]) / 4800)
    for _ in range(3):
        with open_run(room, np.stack((tone, tone)), ledger=ledger, n_frames=RATE_HZ) as run:
            Watch(room, run, Keys()).until(RATE_HZ)


def test_a_clipped_input_stops_it() -> None:
    # Known input: 60 dB more gain from half a second on.
    room = SimulatedRoom(pace=math.inf, faults=(Fault(kind="gain", at_s=0.5, amount_db=60.0),))
    with pytest.raises(TakeError, match=r"clipped at 0\.[56].*microphone's gain down"):
        watched(room)


def test_a_storm_of_gaps_stops_it_and_a_few_do_not() -> None:
    # Known input: reports without damage.
    few = Fault(kind="xrun", at_s=0.5, duration_s=0.5, n_reports=4)
    assert watched(SimulatedRoom(pace=math.inf, faults=(few,))) == 2 * RATE_HZ
    storm = Fault(kind="xrun", at_s=0.5, duration_s=0.5, n_reports=30)
    with pytest.raises(TakeError, match="can't keep up"):
        watched(SimulatedRoom(pace=math.inf, faults=(storm,)))


def test_a_lost_device_ends_it() -> None:
    room = SimulatedRoom(pace=math.inf, faults=(Fault(kind="stall", at_s=1.0),))
    with pytest.raises(DeviceLostError):
        watched(room)
    # The room is free for the next run: the lost one was closed.
    with pytest.raises(DeviceLostError):
        watched(room)
