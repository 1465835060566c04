"""A short take in the simulated room, as several tests make it."""

from __future__ import annotations

from pathlib import Path

from analysis.basics.air import air_at
from analysis.signals.programme import Programme
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.keys import Keys
from measure.sound.simulation.room import SimulatedRoom
from measure.sound.stimulus import make_programme
from measure.takes.conditions import Conditions
from measure.takes.description import Labels
from measure.takes.facts import Sound
from measure.takes.take import Take, make_take

RATE_HZ = 48_000
AROUND = Conditions(
    air=air_at(20.0), air_measured=True, room=None, microphone=None, microphone_document=None
)


def short(order: str = "LRRL") -> Programme:
    """Return a programme of one-second passes."""
    return make_programme(
        start_hz=30,
        stop_hz=20_000,
        duration_s=1.0,
        level_dbfs=-30,
        rate_hz=RATE_HZ,
        order=order,
        tail_s=1.5,
    )


def taken(
    room: SimulatedRoom, folder: Path, *, keys: Keys | None = None, around: Conditions = AROUND
) -> Take:
    """Make a take of it."""
    return make_take(
        room,
        short(),
        folder=folder,
        labels=Labels(name="near the wall", pair="the small ones", room=None, place="A"),
        conditions=around,
        level=None,
        confirmed=None,
        sound=Sound(path=room.name, sample_rate_hz=RATE_HZ, simulated=True),
        ledger=MemoryLedger(room.time_s),
        keys=keys or Keys(),
        show=lambda _: None,
        step=lambda _: None,
    )
