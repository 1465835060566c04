"""Causes and moves in words."""

from __future__ import annotations

import pytest

from analysis.bass.bass import ExplainedFeature
from analysis.bass.causes.cause import Cause
from analysis.bass.features import Feature
from analysis.report.bass import cause_text, causes_text, feature_text, move_text, short_cause_text
from analysis.room.room import SURFACES

FEATURE = Feature(
    kind="dip", frequency_hz=83.4, frequency_std_hz=0.1, level_db=-9.4, prominence_db=12.0
)


def mode(*indices: int, score: float = 0.5, partner: tuple[int, int, int] | None = None) -> Cause:
    first, second, third = indices
    return Cause(
        cause="mode",
        frequency_hz=83.0,
        score=score,
        parts={},
        indices=(first, second, third),
        partner_indices=partner,
    )


def boundary(surface: str, score: float = 0.4) -> Cause:
    return Cause(cause="boundary", frequency_hz=83.0, score=score, parts={}, surface=surface)


UNEXPLAINED = Cause(cause="unexplained", frequency_hz=83.4, score=0.0, parts={})


@pytest.mark.parametrize(
    ("cause", "text", "move"),
    [
        (mode(1, 0, 0), "between front and rear wall", "along the room's length"),
        (mode(0, 2, 0), "between the side walls", "sideways"),
        (mode(0, 0, 1), "between floor and ceiling", "in height"),
        (mode(1, 1, 0), "(1,1,0)", "along the room's length or sideways"),
    ],
)
def test_a_mode_is_changed_along_its_indices(cause: Cause, text: str, move: str) -> None:
    # Closed form: a mode's shape varies only along the directions of its non-zero indices.
    assert text in cause_text(cause)
    said = move_text(cause)
    assert said is not None
    assert f"moving loudspeakers or seat {move} changes it" == said


@pytest.mark.parametrize("surface", SURFACES)
def test_every_surface_has_its_words(surface: str) -> None:
    # Invariant: all six, each with a move that names what changes its path.
    assert surface in cause_text(boundary(surface))
    said = move_text(boundary(surface))
    assert said is not None
    assert said.endswith(" changes it")


def test_a_front_wall_needs_another_distance_to_it() -> None:
    # Known input.
    said = move_text(boundary("front"))
    assert said == "another distance from loudspeaker to front wall changes it"


def test_nothing_is_advised_without_a_cause() -> None:
    # Invariant: no cause, no move.
    assert cause_text(UNEXPLAINED) == "no cause found"
    assert move_text(UNEXPLAINED) is None


def test_a_close_second_is_named_too() -> None:
    # Known input: 0.4 of 0.5 is close, 0.1 isn't.
    close = ExplainedFeature(feature=FEATURE, causes=(mode(1, 0, 0), boundary("front")))
    far = ExplainedFeature(feature=FEATURE, causes=(mode(1, 0, 0), boundary("front", 0.1)))
    assert causes_text(close).endswith(", or reflection from the front wall")
    assert " or " not in causes_text(far)


def test_short_forms() -> None:
    # Known input; (0, 0, 0) is the uniform pressure and not a mode.
    assert short_cause_text(mode(2, 0, 1, partner=(2, 0, 0))) == "modes 2,0,1 and 2,0,0"
    assert short_cause_text(mode(2, 0, 1, partner=(0, 0, 0))) == "mode 2,0,1"
    assert short_cause_text(boundary("rear")) == "rear wall"
    assert short_cause_text(UNEXPLAINED) == "none found"
    explained = ExplainedFeature(feature=FEATURE, causes=(UNEXPLAINED,))
    assert feature_text(explained) == "dip of 9 dB at 83 Hz"
