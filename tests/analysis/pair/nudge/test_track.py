"""The track of the nudge loop: who moves, what to do, when it is done."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.pair.nudge.answer import Doubt, NudgeAnswer
from analysis.pair.nudge.pattern import nudge_pattern, sweep_side
from analysis.pair.nudge.track import NudgeTrack, follow, move_advice, trend_m_s

C_M_S = 343.2
PATTERN = nudge_pattern(sample_rate_hz=48_000, level_dbfs=-26)


def track(move: str = "left") -> NudgeTrack:
    return NudgeTrack(tolerance_m=2e-3, move=move, speed_of_sound_m_s=C_M_S)


def answer(index: int, difference_m: float, *, rate_ppm: float = 40.0, **more) -> NudgeAnswer:
    """Return an answer as a quiet recording gives it."""
    plain = NudgeAnswer(
        index=index,
        time_s=PATTERN.start_s(index - 1),
        side=sweep_side(index),
        difference_m=difference_m,
        std_m=1e-4,
        random_std_m=2e-5,
        in_room_std_m=1e-3,
        level_db=0.3,
        level_std_db=0.05,
        rate_ppm=rate_ppm,
    )
    return replace(plain, **more)


def followed(answers, state: NudgeTrack | None = None) -> NudgeTrack:
    state = state or track()
    for one in answers:
        state = follow(state, one)
    return state


@given(
    left_mm=st.floats(1000, 4000),
    right_mm=st.floats(1000, 4000),
    move=st.sampled_from(["left", "right"]),
)
@settings(deadline=None, max_examples=30)
def test_following_the_advice_makes_the_distances_equal(
    left_mm: float, right_mm: float, move: str
) -> None:
    """Closed form: the move applied to the distances leaves no difference."""
    todo = move_advice(1e-3 * (left_mm - right_mm), move=move, tolerance_m=2e-3)
    assert todo.side == move
    step_mm = 1e3 * todo.distance_m * (-1 if todo.toward_seat else 1)
    moved = {"left": left_mm, "right": right_mm}
    moved[move] += step_mm
    assert moved["left"] == pytest.approx(moved["right"], abs=1e-6)
    assert todo.needed == (abs(left_mm - right_mm) > 2)


def test_the_drift_is_learnt_while_both_stand_still() -> None:
    """Known input: both sides' lags change by 40 ppm."""
    state = followed(answer(index, 0.01) for index in range(2, 10))
    assert state.clock_ppm == pytest.approx(40)
    assert state.mover is None


@pytest.mark.parametrize("moving", ["left", "right"])
def test_the_side_whose_lag_leaves_the_drift_moves(moving: str) -> None:
    """Known input: one side's lag changes by 10 mm a second more than the clocks' 40 ppm."""
    state = followed(answer(index, 0.01) for index in range(2, 10))
    for index in range(10, 14):
        own_ppm = 40 - 1e4 / C_M_S if sweep_side(index) == moving else 40.0
        state = follow(state, answer(index, 0.01, rate_ppm=own_ppm))
    assert state.mover == moving
    assert state.clock_ppm == pytest.approx(40)
    # The figures are for sliding the left one; that the other moved was seen twice.
    assert state.n_moved_other == (0 if moving == "left" else 2)


def test_both_moving_is_the_microphone_and_before_the_drift_is_known_something() -> None:
    """Known input: both lags change alike but not by the drift; then one without a drift."""
    state = followed(answer(index, 0.01) for index in range(2, 10))
    state = followed((answer(index, 0.01, rate_ppm=-20.0) for index in (10, 11)), state)
    assert state.mover == "microphone"
    early = followed(
        answer(index, 0.01, rate_ppm=10.0 if index % 2 else 40.0) for index in range(2, 6)
    )
    assert early.clock_ppm is None
    assert early.mover == "something"


def test_done_takes_three_readings_that_share_no_sweep() -> None:
    """Closed form: indices 2, 5 and 8 are the first three answers without a common sweep."""
    state = track()
    for index in range(2, 9):
        assert not state.done
        state = follow(state, answer(index, 0.0015))
    assert state.agreed == (2, 5, 8)
    assert state.done


def test_what_breaks_the_row_and_what_only_holds_it_up() -> None:
    """Known input: a reading outside, one too uncertain, a motion; and a doubt in between."""
    inside = [answer(index, 0.0015) for index in range(2, 8)]
    assert followed(inside).agreed == (2, 5)
    assert followed([*inside, answer(8, 0.0025)]).agreed == ()
    assert followed([*inside, answer(8, 0.001, std_m=2.5e-3)]).agreed == ()
    moving = answer(8, 0.001, rate_ppm=70.0)
    assert followed([*inside, moving]).agreed == ()
    doubted = [answer(8, 0.05, doubt=Doubt.NOISE), answer(9, 0.0015)]
    assert followed([*inside, *doubted]).agreed == (2, 5, 9)


def test_the_trend_is_the_slope_of_the_sure_answers() -> None:
    """Closed form: answers on a line of -4 mm a second, and a doubted one far off it."""
    answers = [answer(index, 0.03 - 0.004 * PATTERN.start_s(index - 1)) for index in range(2, 12)]
    answers[5] = replace(answers[5], difference_m=0.5, doubt=Doubt.NOISE)
    assert trend_m_s(followed(answers)) == pytest.approx(-0.004)
    assert trend_m_s(followed(answers[:2])) is None
    assert trend_m_s(track()) is None


@pytest.mark.parametrize(("off_db", "side"), [(-4.0, "left"), (4.0, "right")])
def test_a_level_far_from_the_usual_is_doubted(off_db: float, side: str) -> None:
    """Known input: the level difference jumps; who stands there covers the weaker side."""
    state = followed(answer(index, 0.01) for index in range(2, 10))
    state = follow(state, answer(10, 0.01, level_db=0.3 + off_db))
    assert state.latest is not None
    assert (state.latest.doubt, state.latest.doubt_side) == (Doubt.COVERED, side)
    # A balance that was really changed becomes the usual.
    state = followed((answer(index, 0.01, level_db=0.3 + off_db) for index in range(11, 35)), state)
    assert state.latest is not None
    assert state.latest.doubt is None


def test_wrong_arguments_are_refused() -> None:
    """Known input: no tolerance, no side."""
    with pytest.raises(ValueError, match="tolerance_m"):
        NudgeTrack(tolerance_m=0.0, move="left", speed_of_sound_m_s=C_M_S)
    with pytest.raises(ValueError, match="move"):
        NudgeTrack(tolerance_m=1e-3, move="both", speed_of_sound_m_s=C_M_S)
    with pytest.raises(ValueError, match="move"):
        move_advice(0.01, move="up", tolerance_m=1e-3)
