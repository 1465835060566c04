"""What can be planted to go wrong."""

from __future__ import annotations

import math
from typing import Any

import pytest

from measure.sound.simulation.faults import Fault, PlantedFaults


def planted(*faults: Fault) -> PlantedFaults:
    return PlantedFaults(faults=faults, sample_rate_hz=1000)


def test_a_fault_is_met_where_it_is() -> None:
    # Known input.
    fault = Fault(kind="zeroed", at_s=0.15, duration_s=0.1)
    found = planted(fault, Fault(kind="gain", at_s=0.0))
    met = {first: [here for _, here in found.within("zeroed", first, 100)] for first in (0, 100)}
    assert met == {0: [], 100: [slice(50, 100)]}
    assert [here for _, here in found.within("zeroed", 200, 100)] == [slice(0, 50)]
    assert list(found.within("zeroed", 300, 100)) == []


def test_a_fault_without_an_end_goes_on() -> None:
    found = planted(Fault(kind="silence", at_s=0.05))
    assert [here for _, here in found.within("silence", 0, 100)] == [slice(50, 100)]
    assert [here for _, here in found.within("silence", 10**9, 100)] == [slice(0, 100)]


def test_reports_are_spread_over_the_duration() -> None:
    # Known input: at 0.10, 0.15, 0.20 and 0.25 s.
    found = planted(Fault(kind="xrun", at_s=0.1, duration_s=0.2, n_reports=4))
    assert [found.n_reported(first, 100) for first in (0, 100, 200, 300)] == [0, 2, 2, 0]
    assert planted(Fault(kind="xrun", at_s=0.1)).n_reported(100, 1) == 1


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"kind": "fire"}, "kind 'fire' must be one of lost"),
        ({"kind": "lost", "at_s": -1.0}, "at_s -1"),
        ({"kind": "lost", "duration_s": 0.0}, "duration_s 0"),
        ({"kind": "gain", "amount_db": math.inf}, "amount_db inf"),
        ({"kind": "xrun", "n_reports": 0}, "n_reports 0"),
    ],
)
def test_impossible_faults_are_refused(wrong: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Fault(**wrong)
