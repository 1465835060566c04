"""What nothing checks, and whether the proposed observation would."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.survey.checkability import UNCHECKED_BELOW, uncheckable_observations
from analysis.survey.solution import solve_survey
from analysis.survey.survey import SURVEY_TAPE_STD_M, Observation
from benchmarks.survey_rooms import random_places, survey_of


def test_the_proposed_reading_checks_as_much_as_predicted() -> None:
    # Second method: take the proposed observation, adjust again, and look.
    at = random_places(np.random.default_rng([5, 1]))
    survey = survey_of(at, "minimal")
    found = [
        one for one in uncheckable_observations(solve_survey(survey)) if one.kind == "distance"
    ]
    assert found
    for one in found[:4]:
        assert one.redundancy < UNCHECKED_BELOW
        if one.again:
            continue
        first, second = one.add.split(" to ")
        added = Observation(
            label=one.add,
            kind="distance",
            ends=(first, second),
            value=float(np.linalg.norm(at[first] - at[second])),
            std=SURVEY_TAPE_STD_M,
            instrument="tape",
        )
        again = solve_survey(replace(survey, observations=(*survey.observations, added)))
        row = [observation.label for observation in again.survey_network.observations].index(
            one.label
        )
        assert again.adjusted.redundancy[row] == pytest.approx(one.redundancy_then, abs=1e-5)
        assert one.redundancy_then >= UNCHECKED_BELOW


@pytest.mark.parametrize("kit", ["tape", "laser", "both"])
@pytest.mark.parametrize("seed", range(5))
def test_the_kits_check_every_reading_that_decides_a_move(kit: str, seed: int) -> None:
    # The promise of the starter kits: redundancy of at least 0.2 for each distance between
    # furniture, cabinets, seat and head, in any room.
    solution = solve_survey(survey_of(random_places(np.random.default_rng([5, seed])), kit))
    deciding = [
        (observation.label, float(redundancy))
        for observation, redundancy in zip(
            solution.survey_network.observations, solution.adjusted.redundancy, strict=True
        )
        if observation.kind == "distance" and "front " not in observation.label
    ]
    assert len(deciding) >= 28
    assert min(deciding, key=lambda one: one[1])[1] >= 0.2


def test_a_reading_alone_is_to_be_read_again() -> None:
    # Known input: a single observation to a wall's second freedom; only itself can check it, or
    # another observation to that wall.
    survey = survey_of(random_places(np.random.default_rng([5, 2])), "tape")
    found = {one.label: one for one in uncheckable_observations(solve_survey(survey))}
    one = found["seat left to wall rear"]
    assert one.redundancy == pytest.approx(0, abs=1e-6)
    assert one.add.endswith("to wall rear")
