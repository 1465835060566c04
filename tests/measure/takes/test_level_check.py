"""The level check, over a wire of known gain and noise."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from measure.errors import StoppedError, TakeError
from measure.safety.limits import SafeSignal
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.emitter import Emitter
from measure.sound.keys import Keys
from measure.takes.level_check import FIRST_PEAK_DBFS, SIDES, check_level, noise_burst

CAP_DBFS = -20.0
RATE_HZ = 48_000


class Wire:
    """A sound path without a room: a gain for each side, noise, and nothing else."""

    name = "the wire"
    audible = False
    sample_rate_hz = RATE_HZ
    n_inputs = 1

    def __init__(self, *, volume_db: float = 0.0, muted: bool = False) -> None:
        self._gain = 0.0 if muted else 10 ** (volume_db / 20)
        self._noise = 0.0 if muted else 10 ** (-72 / 20)
        self._now_s = 0.0
        self._rng = np.random.default_rng(1)
        self.peaks_dbfs: list[tuple[float, float]] = []

    def time_s(self) -> float:
        """Return how much time has passed."""
        return self._now_s

    def start(self, signal: SafeSignal, *, n_frames: int, repeat: bool = False) -> Wire:
        """Note the peaks, and play."""
        left, right = 20 * np.log10(np.abs(signal.samples).max(axis=1) + 1e-12)
        self.peaks_dbfs.append((float(left), float(right)))
        self._emitter = Emitter(signal, repeat=repeat)
        self.recorded = np.full((1, n_frames), np.nan, dtype=np.float32)
        self.n_recorded = self.n_played = 0
        self.xruns = ()
        return self

    def wait(self, duration_s: float) -> None:
        """Move a block."""
        self._now_s += duration_s
        n_frames = min(round(duration_s * RATE_HZ), self.recorded.shape[1] - self.n_recorded)
        block = np.empty((n_frames, 2), dtype=np.float32)
        self._emitter.fill(block)
        heard = self._gain * block.sum(axis=1) + self._noise * self._rng.standard_normal(n_frames)
        self.recorded[0, self.n_recorded : self.n_recorded + n_frames] = heard
        self.n_recorded += n_frames

    def append(self, signal: SafeSignal, at_frame: int) -> bool:
        """Add output."""
        return self._emitter.append(signal, at_frame)

    def stop(self) -> None:
        """Fade out."""
        self._emitter.stop()

    def close(self) -> None:
        """Nothing is held."""


def found_in(room: Wire, **options: Any) -> Any:
    usual: dict[str, Any] = {"cap_dbfs": CAP_DBFS, "ask": None, "tell": lambda _: None}
    usual |= {"ledger": MemoryLedger(room.time_s), "keys": Keys()}
    return check_level(room, **(usual | options))


@pytest.mark.parametrize("volume_db", [-6.0, 6.0])
def test_the_level_is_found_from_below_in_small_steps(volume_db: float) -> None:
    # Known input: the amplifier's volume. Twice 6 dB up, the level found is 12 dB lower.
    room = Wire(volume_db=volume_db)
    found = found_in(room)
    assert found.snr_db == pytest.approx(30, abs=1)
    assert found.advice == "" or "turn it down" in found.advice
    for column, other in ((0, 1), (1, 0)):
        played = [pair[column] for pair in room.peaks_dbfs if pair[column] > -200]
        silent = [pair[other] for pair in room.peaks_dbfs if pair[column] > -200]
        assert played[0] <= FIRST_PEAK_DBFS + 40
        assert max(np.diff(played)) <= 6.001
        assert max(played) <= CAP_DBFS + 1e-6
        assert max(silent) < -200


def test_more_volume_needs_less_level() -> None:
    # Invariant: 12 dB more amplification, 12 dB less level.
    low, high = (found_in(Wire(volume_db=volume)).peak_dbfs for volume in (-6.0, 6.0))
    assert low - high == pytest.approx(12, abs=0.7)


def test_a_weak_system_gets_advice_and_never_more_than_the_cap() -> None:
    # Known input: so quiet that the cap isn't enough for the wanted 30 dB.
    room = Wire(volume_db=-35.0)
    found = found_in(room)
    assert found.peak_dbfs == CAP_DBFS
    assert "turn the amplifier up by" in found.advice
    assert max(max(pair) for pair in room.peaks_dbfs) <= CAP_DBFS + 1e-6


def test_a_loudspeaker_that_is_not_heard() -> None:
    # Known input: an amplifier that is off.
    with pytest.raises(TakeError, match="hardly hears the left loudspeaker"):
        found_in(Wire(volume_db=-100.0))


def test_a_dead_input() -> None:
    # Known input: a muted microphone gives zeros.
    with pytest.raises(TakeError, match="digital silence"):
        found_in(Wire(muted=True))


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ("right", "the right loudspeaker sounded when the left one should: exchange"),
        ("both", "mono"),
        ("none", "the left loudspeaker didn't sound"),
    ],
)
def test_the_person_s_answer_counts(answer: str, told: str) -> None:
    # Known input: what the person says, and says again when asked once more.
    asked = []

    def ask(side: str) -> str:
        asked.append(side)
        return answer

    with pytest.raises(TakeError, match=told):
        found_in(Wire(), ask=ask)
    assert asked == ["left", "left"]


def test_a_slip_of_the_finger_is_asked_about_once_more() -> None:
    # Known input: a person who types the wrong letter once, after the left side. The left side
    # sounds once more, as loud as before and no louder, and the level found is the same.
    asked: list[str] = []

    def ask(side: str) -> str:
        asked.append(side)
        return "right" if len(asked) == 1 else side

    plain, again = Wire(), Wire()
    level = found_in(plain, ask=lambda side: side).peak_dbfs
    assert found_in(again, ask=ask).peak_dbfs == pytest.approx(level, abs=0.5)
    assert asked == ["left", "left", "right"]
    lefts = [[left for left, _ in room.peaks_dbfs if left > -200] for room in (plain, again)]
    assert len(lefts[1]) == len(lefts[0]) + 1
    assert lefts[1][-1] == pytest.approx(lefts[1][-2])


class TypedEarly(Keys):
    """A keyboard on which keys come at given looks."""

    def __init__(self, keys: dict[int, str]) -> None:
        super().__init__()
        self._keys, self._looks = keys, 0

    def pressed(self) -> str:
        """Return the key of this look."""
        self._looks += 1
        return self._keys.get(self._looks, "")


def test_an_answer_that_comes_while_it_sounds_is_an_answer() -> None:
    # Known input: the person answers within the first burst from the left (the silence before
    # takes 150 looks), and the return key comes a burst later; nobody asks for the left again.
    asked: list[str] = []

    def ask(side: str) -> str:
        asked.append(side)
        return side

    found_in(Wire(), ask=ask, keys=TypedEarly({170: "L", 290: "\n"}))
    assert asked == ["right"]


@pytest.mark.parametrize("options", [{"ask": lambda side: side}, {}], ids=["asks", "asks not"])
@pytest.mark.parametrize("key", ["x", "\n", " "])
def test_any_other_key_stops_the_bursts(options: dict[str, Any], key: str) -> None:
    # Known input: a key that is no answer, within the first burst.
    with pytest.raises(StoppedError, match="by a key"):
        found_in(Wire(), keys=TypedEarly({170: key}), **options)


def test_a_letter_stops_where_nothing_is_asked() -> None:
    # Known input: the same key as above, with nobody to ask.
    with pytest.raises(StoppedError, match="by a key"):
        found_in(Wire(), keys=TypedEarly({170: "l"}))


def test_both_sides_are_asked_for() -> None:
    # Known input: a person who hears what is meant.
    asked = []

    def ask(side: str) -> str:
        asked.append(side)
        return side

    found_in(Wire(), ask=ask)
    assert tuple(asked) == SIDES


@pytest.mark.parametrize("rate_hz", [44_100, 192_000])
def test_the_burst_lies_in_its_band(rate_hz: int) -> None:
    # Closed form: built of the band's frequencies alone; only the fades spill over.
    burst = noise_burst(rate_hz)
    power = np.abs(np.fft.rfft(burst)) ** 2
    at_hz = np.fft.rfftfreq(burst.size, 1 / rate_hz)
    outside = (at_hz < 400) | (at_hz > 2100)
    assert 10 * np.log10(power[outside].sum() / power.sum()) < -40
    assert np.abs(burst).max() == pytest.approx(1)
    assert abs(burst[0]) < 1e-3
