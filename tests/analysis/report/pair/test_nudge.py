"""What the nudge loop shows: signs, words and size agree with the figures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.pair.nudge.answer import Doubt, NudgeAnswer
from analysis.pair.nudge.pattern import sweep_side
from analysis.pair.nudge.track import NudgeTrack, follow
from analysis.report.pair.large_figures import GLYPHS, N_ROWS, big, width
from analysis.report.pair.nudge import notices, nudge_lines, say_move


def track(*differences_mm: float, move: str = "left", **more) -> NudgeTrack:
    """Return a track of answers three sweeps apart, each of them also changed by `more`."""
    state = NudgeTrack(tolerance_m=2e-3, move=move, speed_of_sound_m_s=343.2)
    for number, value_mm in enumerate(differences_mm):
        index = 2 + 3 * number
        one = NudgeAnswer(
            index=index,
            time_s=0.28 * index,
            side=sweep_side(index),
            difference_m=1e-3 * value_mm,
            std_m=2e-4,
            random_std_m=1e-4,
            in_room_std_m=1.02e-3,
            level_db=0.42,
            level_std_db=0.08,
            rate_ppm=3.0,
        )
        state = follow(state, replace(one, **more))
    return state


@pytest.mark.parametrize(
    ("difference_mm", "move", "words"),
    [
        (7.3, "left", "↓ left 7 mm toward the seat"),
        (-7.3, "left", "↑ left 7 mm away from the seat"),
        (7.3, "right", "↑ right 7 mm away from the seat"),
        (-12.6, "right", "↓ right 13 mm toward the seat"),
        (1.4, "left", "= within 2.0 mm: leave it there (1 of 3 readings)"),
    ],
)
def test_the_words_say_which_way(difference_mm: float, move: str, words: str) -> None:
    """Closed form: the farther one comes nearer, the nearer one goes away."""
    assert say_move(track(difference_mm, move=move)) == words


def test_the_lines_hold_every_figure() -> None:
    """Known input: a row of readings that come nearer."""
    lines = nudge_lines(track(12.3, 10.1, 7.3))
    assert lines[N_ROWS:] == [
        "",
        "↓ left 7 mm toward the seat",
        "left minus right +7.3 ± 1.0 mm",
        "level left 0.4 ± 0.1 dB louder",
        "last +12.3 +10.1 +7.3 mm, shrinking",
    ]
    assert lines[:N_ROWS] == big("v +7.3 ~1", wide=True)
    assert nudge_lines(track(7.3), columns=90)[:N_ROWS] == big("v +7.3 ~1.0", wide=True)
    assert nudge_lines(track(-12.3, -15.0, -18.0))[-1].endswith("growing")
    assert nudge_lines(track()) == []


def test_done_and_unsure_are_large_words_and_signs() -> None:
    """Known input: three readings within tolerance; a noise."""
    done = nudge_lines(track(1.0, 0.5, -0.2))
    assert done[:N_ROWS] == big("DONE", wide=True)
    assert done[N_ROWS + 1] == "done: three readings in a row within 2.0 mm"
    # A tolerance finer than any room supports is met, and said to be that.
    fine = say_move(replace(track(0.3, 0.2, 0.1), tolerance_m=5e-4))
    assert fine == (
        "done: three readings in a row within 0.5 mm; draughts and the microphone's place leave "
        "1.0 mm, though"
    )
    unsure = nudge_lines(track(7.3, 7.4, doubt=Doubt.NOISE))
    assert unsure[:N_ROWS] == big("?", wide=True)
    assert unsure[N_ROWS + 1 :] == ["? unsure: a noise, or a quick move"]


@pytest.mark.parametrize("doubt", list(Doubt))
def test_every_doubt_has_its_words(doubt: Doubt) -> None:
    """Invariant: no number where there is a doubt, and the side where it has one."""
    text = say_move(track(7.3, doubt=doubt, doubt_side="right"))
    assert text.startswith("? unsure: ")
    assert "7" not in text
    if doubt in {Doubt.UNHEARD, Doubt.COVERED}:
        assert "right loudspeaker" in text


@pytest.mark.parametrize("columns", [40, 60, 80, 120])
@pytest.mark.parametrize("difference_mm", [0.0, -3.4, 9.94, 12.6, -123.4, 1234.0])
@pytest.mark.parametrize("std_m", [1e-3, 1.23e-2, None])
def test_nothing_is_wider_than_the_terminal(
    columns: int, difference_mm: float, std_m: float | None
) -> None:
    """Invariant: width, and plain ASCII where that was asked for."""
    state = track(*[difference_mm] * 4, in_room_std_m=std_m)
    for plain in (False, True):
        lines = nudge_lines(state, columns=columns, plain=plain)
        assert max(map(len, lines)) < columns
        assert "".join(lines).isascii() or not plain


def test_the_other_loudspeaker_and_the_microphone_are_noticed() -> None:
    """Known input: what the track saw move."""
    state = track(7.3)
    assert notices(state) == []
    assert "exchanged" in notices(replace(state, n_moved_other=2))[0]
    assert "right loudspeaker moves" in notices(replace(state, n_moved_other=2))[0]
    assert "microphone" in notices(replace(state, mover="microphone"))[0]
    noisy = [7.3] * 8
    assert notices(track(*noisy[1:], doubt=Doubt.NOISE)) == []
    assert "Too much noise" in notices(track(*noisy, doubt=Doubt.NOISE))[0]
    assert nudge_lines(replace(state, mover="something"))[-1] != "moving"


def test_large_figures_are_seven_even_rows_of_their_dots() -> None:
    """Invariant: every glyph's rows are alike wide; twice as wide with two characters a dot."""
    for character, glyph in GLYPHS.items():
        rows = glyph.split("/")
        assert len(rows) == N_ROWS, character
        assert len({len(row) for row in rows}) == 1, character
    for wide in (False, True):
        lines = big("+-0123456789.?^v=~DONE", wide=wide)
        assert max(map(len, lines)) == width("+-0123456789.?^v=~DONE", wide=wide)
    assert big("1", wide=False, plain=True)[0] == "  #"
    # A zero and an O are alike, as in many founts.
    assert len({"\n".join(big(one, wide=False)) for one in GLYPHS}) == len(GLYPHS) - 1
    with pytest.raises(ValueError, match="text 'x'"):
        big("x", wide=True)
    with pytest.raises(ValueError, match="columns 39"):
        nudge_lines(track(7.3), columns=39)
