"""The count of what the tweeters got: over crashes, processes, damage and clocks."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.errors import UnsafeError
from measure.safety.treble_account import (
    EMPTY,
    HOLD_S,
    LONG_CAP,
    LONG_WINDOW_S,
    SHORT_CAP,
    SHORT_WINDOW_S,
    Account,
)
from measure.safety.treble_ledger import FileLedger, MemoryLedger, user_ledger

ROOT = Path(__file__).parents[3]


class Clocks:
    """A wall clock and a running time that a test moves."""

    def __init__(self) -> None:
        self.wall_s, self.running_s = 1.8e9, 5000.0

    def ledger(self, path: Path) -> FileLedger:
        """Return the ledger as a new process with these clocks has it."""
        return FileLedger(path=path, clock=lambda: self.running_s, wall_clock=lambda: self.wall_s)

    def pass_(self, seconds: float) -> None:
        """Let time pass."""
        self.wall_s += seconds
        self.running_s += seconds


def share(short: float, *, n_bins: int = 1) -> np.ndarray:
    """Return a signal's energy on the left, as a share of the short cap."""
    energy = np.zeros((2, n_bins))
    energy[0] = short * SHORT_CAP / n_bins
    return energy


@pytest.fixture
def clocks() -> Clocks:
    return Clocks()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "state" / "ledger.json"


# --- The caps ---------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@given(
    st.lists(
        st.tuples(st.floats(0, 30), st.floats(0, HOLD_S), st.floats(0, 0.12), st.integers(1, 30)),
        max_size=25,
    )
)
def test_no_window_ever_holds_more_than_the_cap(
    signals: list[tuple[float, float, float, int]],
) -> None:
    # Second method: each admitted signal's energy as points in real time, at its real start;
    # the windows that matter start at a point.
    account, points, now_s = EMPTY, [], 0.0
    for step_s, late_s, total, n_bins in signals:
        account, now_s = account.later(step_s), now_s + step_s
        energy = np.full((2, n_bins), total / n_bins)
        if account.wait_s(energy) == 0:
            account = account.plus(account.entry(energy))
            points += [(now_s + late_s + 0.5 * k + 0.499, total / n_bins) for k in range(n_bins)]
    times, energies = np.array(points or [(0.0, 0.0)]).T
    for window_s, cap in ((SHORT_WINDOW_S, SHORT_CAP), (LONG_WINDOW_S, LONG_CAP)):
        inside = (times >= times[:, None]) & (times <= times[:, None] + window_s)
        assert (inside @ energies).max() <= cap + 1e-9


def test_the_latest_start_before_the_earliest_is_allowed_for() -> None:
    # Closed form: entered at 0.49 s, begun HOLD_S later, sounding at the end of its bin: that
    # is at 4.99 s, and all of a signal that starts at 14.98 s falls into the same 10 s.
    account = EMPTY.later(0.49)
    account = account.plus(account.entry(share(1.0)))
    assert HOLD_S == 4.0
    assert account.later(14.98 - 0.49).wait_s(share(0.01)) > 0
    assert account.later(15.0 - 0.49).wait_s(share(0.01)) == 0


def test_after_the_wait_it_said_it_is_admitted_and_not_before() -> None:
    # Known input: a full short window, then a full long one.
    account = EMPTY.plus(EMPTY.entry(share(1.0)))
    wait_s = account.wait_s(share(0.5))
    assert SHORT_WINDOW_S <= wait_s <= SHORT_WINDOW_S + HOLD_S + 2
    assert account.later(wait_s).wait_s(share(0.5)) == 0
    assert account.later(wait_s - 1).wait_s(share(0.5)) > 0
    for _ in range(round(LONG_CAP / SHORT_CAP) - 1):
        account = account.later(account.wait_s(share(1.0)))
        account = account.plus(account.entry(share(1.0)))
    assert LONG_WINDOW_S / 2 < account.wait_s(share(0.01)) < LONG_WINDOW_S


def test_sides_are_counted_apart_and_quiet_ones_cost_nothing() -> None:
    # Invariant: what the left tweeter got doesn't warm the right one.
    ledger = MemoryLedger(clock=lambda: 0.0)
    ledger.enter(share(1.0))
    ledger.enter(share(1.0)[::-1])
    ledger.enter(np.zeros((2, 100)))
    with pytest.raises(UnsafeError, match=r"wait \d+ s"):
        ledger.enter(share(0.01))


def test_what_no_wait_can_cure_is_said_so() -> None:
    # Closed form: alone above the cap.
    assert EMPTY.wait_s(share(1.01)) == math.inf
    with pytest.raises(UnsafeError, match="lower level"):
        MemoryLedger().enter(share(1.01))


def test_what_was_not_played_is_given_back(path: Path, clocks: Clocks) -> None:
    # Known input: 10 s of an even signal stopped after 2 s; one more bin is kept.
    for ledger in (MemoryLedger(clock=lambda: 0.0), clocks.ledger(path)):
        entry = ledger.enter(share(1.0, n_bins=20))
        ledger.give_back(entry, played_s=2.0)
        ledger.enter(share(0.75))
        with pytest.raises(UnsafeError, match="wait"):
            ledger.enter(share(0.01))


# --- The file ---------------------------------------------------------------------------


def test_commands_share_the_count(path: Path, clocks: Clocks) -> None:
    # Invariant: what one ledger entered, before any crash, another one knows.
    clocks.ledger(path).enter(share(1.0))
    with pytest.raises(UnsafeError, match="wait"):
        clocks.ledger(path).enter(share(0.1))
    clocks.pass_(SHORT_WINDOW_S + HOLD_S + 2)
    clocks.ledger(path).enter(share(0.1))


def test_many_processes_at_once_lose_nothing(path: Path) -> None:
    # Known input: four processes, ten entries each.
    script = (
        "import sys, numpy as np; from pathlib import Path;"
        "from measure.safety.treble_ledger import FileLedger;"
        "ledger = FileLedger(path=Path(sys.argv[1]));"
        "[ledger.enter(np.full((2, 1), 0.001)) for _ in range(10)]"
    )
    running = [
        subprocess.Popen([sys.executable, "-c", script, str(path)], cwd=ROOT) for _ in range(4)
    ]
    assert [process.wait(timeout=60) for process in running] == [0] * 4
    energy = json.loads(path.read_text(encoding="utf-8"))["energy"]
    assert sum(left for left, _ in energy.values()) == pytest.approx(0.04)


@pytest.mark.parametrize(
    "rubbish",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b"[]",
        b'{"schema": 1}',
        b'{"schema": 2, "wall_s": 0, "running_s": 0, "time_s": 0, "energy": {}}',
        b'{"schema": 1, "wall_s": 0, "running_s": 0, "time_s": NaN, "energy": {}}',
        b'{"schema": 1, "wall_s": 0, "running_s": 0, "time_s": 0, "energy": {"1": [-9, 0]}}',
        b'{"schema": 1, "wall_s": 0, "running_s": 0, "time_s": 0, "energy": {"1": [0]}}',
        b'{"schema": 1, "wall_s": 0, "running_s": 0, "time_s": 0, "energy": {"99999999": [0, 0]}}',
        b"[" * 100_000,
    ],
)
def test_a_damaged_count_is_taken_for_the_worst(rubbish: bytes, path: Path, clocks: Clocks) -> None:
    # Known input: every way of being no ledger; after ten minutes it works again by itself.
    path.parent.mkdir()
    path.write_bytes(rubbish)
    with pytest.raises(UnsafeError, match=r"damaged.* 10 minutes"):
        clocks.ledger(path).enter(share(0.001))
    clocks.pass_(LONG_WINDOW_S / 2)
    with pytest.raises(UnsafeError, match="wait 3"):
        clocks.ledger(path).enter(share(0.001))
    clocks.pass_(LONG_WINDOW_S / 2 + HOLD_S + 2)
    clocks.ledger(path).enter(share(0.001))


def test_an_unwritable_count_plays_nothing(ordinary_folder: Path) -> None:
    # Known input: a folder without the right to write, and one that can't be made.
    folder = ordinary_folder / "state"
    folder.mkdir(mode=0o500)
    for path in (folder / "ledger.json", folder / "below" / "ledger.json"):
        with pytest.raises(UnsafeError, match="nothing is played"):
            FileLedger(path=path).enter(share(0.001))
        FileLedger(path=path).give_back(EMPTY.entry(share(1.0)), played_s=0)


def test_a_held_lock_is_not_waited_for_long(
    path: Path, clocks: Clocks, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: another holder that never lets go.
    from measure.files.system import hold_lock

    clocks.ledger(path).enter(share(0.1))
    monkeypatch.setattr("measure.safety.treble_ledger.PATIENCE_S", 0.05)
    with (
        hold_lock(path.with_suffix(".lock"), patience_s=0.05),
        pytest.raises(UnsafeError, match="another process"),
    ):
        clocks.ledger(path).enter(share(0.1))


# --- Clocks -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wall_step_s", "running_step_s", "passed"),
    [
        (20, 20, True),
        (-3600, 20, False),  # set back
        (3600, 2, False),  # set forward
        (20, -4990, True),  # started anew
        (-3600, -4990, False),  # started anew with a clock that lost its battery
    ],
)
def test_no_clock_makes_time_pass_that_did_not(
    wall_step_s: float, running_step_s: float, passed: bool, path: Path, clocks: Clocks
) -> None:
    # Known input: a full window, then a step of either clock.
    clocks.ledger(path).enter(share(1.0))
    clocks.wall_s += wall_step_s
    clocks.running_s += running_step_s
    ledger = clocks.ledger(path)
    if passed:
        ledger.enter(share(0.5))
        return
    with pytest.raises(UnsafeError, match="wait"):
        ledger.enter(share(0.5))


def test_a_clock_set_back_does_not_lock_it_for_ever(path: Path, clocks: Clocks) -> None:
    # Known input: after any entry the new clock counts.
    clocks.ledger(path).enter(share(1.0))
    clocks.wall_s -= 1e6
    clocks.ledger(path).enter(np.zeros((2, 1)))
    clocks.pass_(SHORT_WINDOW_S + HOLD_S + 2)
    clocks.ledger(path).enter(share(1.0))


def test_old_entries_are_dropped(path: Path, clocks: Clocks) -> None:
    # Invariant: the file doesn't grow with use.
    for _ in range(30):
        clocks.ledger(path).enter(share(0.01))
        clocks.pass_(100)
    assert len(json.loads(path.read_text(encoding="utf-8"))["energy"]) <= 8


def test_the_persons_ledger_lies_in_their_state_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("APEXLINE_HOME", str(tmp_path))
    user_ledger().enter(share(0.1))
    assert [file.suffix for file in sorted(tmp_path.iterdir())] == [".json", ".lock"]


def test_an_account_over_its_cap_still_ends() -> None:
    # Known input: entries of a version with larger caps.
    hot = Account(time_s=0.0, bins={k: (9.0, 9.0) for k in range(-5, 5)})
    wait_s = hot.wait_s(share(0.1))
    assert LONG_WINDOW_S < wait_s < LONG_WINDOW_S + HOLD_S + 5
