"""The nudge loop through the simulated room: where it leads, and what ends it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.pair.nudge.answer import Doubt
from analysis.pair.nudge.pattern import nudge_pattern
from analysis.pair.nudge.track import NudgeTrack
from measure.errors import DeviceLostError, NotHeardError, TakeError
from measure.live import nudge_run
from measure.live.nudge_run import CUE_DBFS, Ended, Stretch, cue_samples, nudge, play_cue
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.keys import Keys
from measure.sound.path import STOP_WITHIN_S
from measure.sound.simulation.faults import Fault
from measure.sound.simulation.person import SimulatedPerson
from measure.sound.simulation.room import SimulatedRoom

RATE_HZ = 48_000
PATTERN = nudge_pattern(sample_rate_hz=RATE_HZ, level_dbfs=-26)


class Pressed(Keys):
    """A keyboard on which a key is pressed at some moment of the room's time."""

    def __init__(self, room: SimulatedRoom | None = None, at_s: float = 0.0, key: str = "x"):
        super().__init__()
        self._room, self._at_s, self._key = room, at_s, key

    def pressed(self) -> str:
        """Return the key once its time has come, and once only."""
        if self._room is None or self._room.time_s() < self._at_s:
            return ""
        self._room = None
        return self._key


def nudged(room: SimulatedRoom, *, move: str = "left", person: bool = True, **more) -> Stretch:
    """Nudge in a room, with somebody who acts on the answers."""
    somebody = SimulatedPerson(room) if person else None
    given = {
        "track": NudgeTrack(tolerance_m=2e-3, move=move, speed_of_sound_m_s=343.2),
        "ledger": MemoryLedger(room.time_s),
        "keys": Pressed(),
        "show": (lambda track: somebody.see(track)) if somebody else (lambda _: None),
    } | more
    return nudge(room, PATTERN, given.pop("track"), **given)


@pytest.mark.parametrize("move", ["left", "right"])
def test_following_the_answers_matches_the_pair(move: str) -> None:
    """Known input: the room's geometry, and clocks 80 ppm apart; the person is clumsy."""
    room = SimulatedRoom(pace=math.inf, clock_ppm=-80.0)
    before_m = {side: room.distance_m(side) for side in ("left", "right")}
    assert abs(room.path_difference_m) > 0.01
    stretch = nudged(room, move=move)
    assert stretch.ended is Ended.DONE
    assert stretch.n_answers == len(stretch.track.answers) > 6
    assert stretch.track.clock_ppm == pytest.approx(-80.0, abs=1.0)
    assert abs(room.path_difference_m) <= 2e-3
    latest = stretch.track.latest
    assert latest is not None
    assert latest.difference_m == pytest.approx(room.path_difference_m, abs=2e-4)
    moved = {side for side, was_m in before_m.items() if room.distance_m(side) != was_m}
    assert moved == {move}


def test_a_key_ends_it_and_silences_it_within_its_time() -> None:
    """Known input: a key at 1.5 s; the room's time goes on for less than the limit and a look."""
    room = SimulatedRoom(pace=math.inf)
    stretch = nudged(room, keys=Pressed(room, 1.5, "b"), person=False)
    assert (stretch.ended, stretch.key) == (Ended.KEY, "b")
    assert stretch.n_answers >= 1
    # The run's own end takes as long as the fade may, besides the look's rest.
    assert room.time_s() < 1.5 + STOP_WITHIN_S + nudge_run.LOOK_S + 0.02


def test_it_pauses_when_its_time_is_up_and_counts_on_afterwards() -> None:
    """Known input: two stretches of a second and a half, nobody moving anything."""
    room = SimulatedRoom(pace=math.inf)
    first = nudged(room, longest_s=1.5, person=False)
    assert first.ended is Ended.PAUSE
    second = nudged(room, track=first.track, longest_s=1.5, person=False)
    answers = second.track.answers
    assert len(answers) == first.n_answers + second.n_answers
    apart = np.diff([one.index for one in answers])
    assert sorted(apart)[:-1] == [1] * (len(answers) - 2)
    assert max(apart) > 4
    for one in answers:
        assert one.side == ("left" if one.index % 2 == 0 else "right")
        assert one.doubt is None
    assert (np.diff([one.time_s for one in answers]) > 0.2).all()


def test_what_was_not_played_is_given_back_to_the_ledger() -> None:
    """Invariant: many short stretches in a row are allowed, each admitted for three minutes."""
    room = SimulatedRoom(pace=math.inf)
    ledger = MemoryLedger(room.time_s)
    loud = nudge_pattern(sample_rate_hz=RATE_HZ, level_dbfs=-20)
    track = NudgeTrack(tolerance_m=2e-3, move="left", speed_of_sound_m_s=343.2)
    for number in range(4):
        keys = Pressed(room, room.time_s() + 0.2)
        ended = nudge(room, loud, track, ledger=ledger, keys=keys, show=lambda _: None).ended
        assert ended is Ended.KEY, number


def test_it_ends_where_the_difference_comes_inside_if_asked() -> None:
    """Known input: the loudspeaker stands within tolerance from the start."""
    room = SimulatedRoom(pace=math.inf)
    room.move("left", -room.path_difference_m)
    stretch = nudged(room, stop_inside=True, person=False)
    assert stretch.ended is Ended.INSIDE
    assert len(stretch.track.agreed) == 1


def test_nothing_heard_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Known input: an amplifier that is off."""
    monkeypatch.setattr(nudge_run, "UNHEARD_S", 1.5)
    with pytest.raises(NotHeardError, match="amplifier on"):
        nudged(SimulatedRoom(pace=math.inf, volume_db=-150.0))


@pytest.mark.parametrize(
    ("fault", "problem"),
    [
        (Fault(kind="gain", at_s=1.0, amount_db=60.0), TakeError),
        (Fault(kind="silence", at_s=1.0), None),
        (Fault(kind="zeroed", at_s=1.0), TakeError),
        (Fault(kind="stall", at_s=1.0), DeviceLostError),
    ],
)
def test_a_fault_that_lasts_ends_it_with_its_reason(
    fault: Fault, problem: type[Exception] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Known input: planted faults; the room is free for the next run afterwards."""
    monkeypatch.setattr(nudge_run, "UNHEARD_S", 1.0)
    room = SimulatedRoom(pace=math.inf, faults=(fault,))
    with pytest.raises(problem or (TakeError, NotHeardError)):
        nudged(room, person=False)
    play_cue(room, ledger=MemoryLedger(room.time_s), keys=Pressed())


@pytest.mark.parametrize(
    "fault",
    [
        Fault(kind="lost", at_s=1.6, duration_s=0.021),
        Fault(kind="undelivered", at_s=1.6, duration_s=0.2),
        Fault(kind="burst", at_s=1.6, duration_s=0.3, amount_db=-20.0),
    ],
)
def test_a_short_fault_is_unsure_and_passes(fault: Fault) -> None:
    """Known input: planted faults; what is sure keeps to the geometry all the while."""
    room = SimulatedRoom(pace=math.inf, faults=(fault,))
    answers = nudged(room, longest_s=3.8, person=False).track.answers
    doubts = {one.doubt for one in answers} - {None}
    assert doubts
    assert doubts <= {Doubt.LOST, Doubt.NOISE, Doubt.JUMP, Doubt.UNHEARD}
    for one in answers:
        if one.doubt is None:
            assert one.difference_m == pytest.approx(room.path_difference_m, abs=3e-4)
    assert [one.doubt for one in answers[-3:]] == [None] * 3


def test_the_cue_is_soft_and_passes_the_safety() -> None:
    """Invariant: below its level, silent ends, and admitted like everything else."""
    samples = cue_samples(RATE_HZ)
    assert samples.shape[0] == 2
    assert np.abs(samples).max() <= 10 ** (CUE_DBFS / 20)
    assert abs(samples[:, [0, -1]]).max() < 1e-4
    room = SimulatedRoom(pace=math.inf)
    play_cue(room, ledger=MemoryLedger(room.time_s), keys=Pressed())
    assert room.time_s() < 0.5
