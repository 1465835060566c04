"""Takes through a real audio stack: the geometry that was planted comes back.

Truth: known input. The room is simulated by a library of image sources that nobody here
wrote, from positions that are drawn; the difference of its paths is geometry alone.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from program import ROOMBOX, SHORT, Program, see_it_quiet
from sound_rig import Rig

from benchmarks.rooms import Layout, path_difference_m, random_layout, random_pair, responses

SEED = 44
N_IN_A_ROW = 20

WITHIN_MM = 0.5


def furnish(rig: Rig, seed: int) -> Layout:
    """Put a living room with two alike loudspeakers and a quiet background into the rig."""
    rng = np.random.default_rng(seed)
    layout = random_layout(rng, echoes=False)
    pair = random_pair(rng, "identical")
    heard = responses(layout, pair, sample_rate_hz=rig.sample_rate_hz, duration_s=0.25)
    rig.furnish(heard)
    rig.tell(f"noise 1e-4 {seed}")
    return layout


def arrival_mm(take: Path) -> float:
    """Return what a take's reading says of left minus right."""
    document = json.loads((take / "reading.json").read_text(encoding="utf-8"))
    return document["arrival"]["left_minus_right_mm"]


@pytest.mark.parametrize(
    "standing_rig",
    [44_100, pytest.param(96_000, marks=pytest.mark.thorough)],
    ids="{} Hz".format,
    indirect=True,
)
def test_a_take_recovers_what_was_planted(rig: Rig, tmp_path: Path) -> None:
    # Known input: the paths' difference. With its level check, as a person would make it.
    layout = furnish(rig, SEED)
    program = Program(rig, tmp_path)
    asked = (*ROOMBOX, *SHORT, "--accept-cautions", "--countdown", "0")
    rate = ("--rate", str(rig.sample_rate_hz))
    words = ("take", "first", *asked, *rate)
    ended = program.converse(*words, prompt="Which sounded?", answers=("l\n", "r\n"))
    assert ended.status == 0, ended
    assert arrival_mm(tmp_path / "first") == pytest.approx(
        1000 * path_difference_m(layout), abs=WITHIN_MM
    )
    facts = tomllib.loads((tmp_path / "first" / "take.toml").read_text(encoding="utf-8"))
    assert facts["recording"]["sample_rate_hz"] == rig.sample_rate_hz
    assert facts["level"]["sides_confirmed"] is True
    see_it_quiet(rig)


@pytest.mark.thorough
def test_takes_in_a_row(rig: Rig, tmp_path: Path) -> None:
    # Known input: a room for each, and none may stumble over the one before. What the room
    # heard shows that nothing was louder than asked for, nor on the wrong side.
    program = Program(rig, tmp_path)
    for number in range(N_IN_A_ROW):
        layout = furnish(rig, SEED + 1 + number)
        ended = program.take(f"take {number}")
        assert ended.status == 0, ended
        planted_mm = 1000 * path_difference_m(layout)
        assert arrival_mm(tmp_path / f"take {number}") == pytest.approx(planted_mm, abs=WITHIN_MM)
        peaks = np.array([sound["peak"] for sound in rig.heard()])
        assert ["LR"[side] for side in peaks.argmax(axis=1)] == list("LRRL")
        assert not peaks.min(axis=1).any()
        assert peaks.max() == pytest.approx(10 ** (-30 / 20), rel=0.01)
        # So many takes in so little time are too much for a tweeter: rightly refused.
        (tmp_path / "home" / "tweeter_energy.json").unlink()
    see_it_quiet(rig)
