"""Words about a take. Truth: the sentences, as they are written here."""

from __future__ import annotations

from analysis.pair.wired_reference import AbsoluteDistances
from analysis.report.sound_level import UNKNOWN
from analysis.report.take import arrival_cell, take_lines


def test_a_take_without_events_says_only_that_its_level_is_unknown() -> None:
    said = take_lines(distances=None, repeated=(), not_repeated=(), n_xruns=0, exposure=None)
    assert said == [UNKNOWN]


def test_each_thing_that_happened_has_its_line() -> None:
    distances = AbsoluteDistances(left_m=2.5, right_m=2.4816, std_m=0.0031)
    said = take_lines(
        distances=distances, repeated=(2,), not_repeated=(1, 3, 4), n_xruns=7, exposure=None
    )
    assert said[0] == (
        "Distances to the microphone: left 2.500 m, right 2.482 m, both ± 0.003 m; their "
        "difference as the verdict says."
    )
    assert said[1].startswith("Pass 2 was spoilt and played again")
    assert said[2] == "Passes 1, 3 and 4 were spoilt too, and not played again."
    assert said[3].startswith("The driver reported 7 gap(s)")
    assert said[4] == UNKNOWN


def test_a_cell_says_why_there_is_no_difference() -> None:
    assert arrival_cell(None, None, is_read=False) == "no reading"
    assert arrival_cell(None, None, is_read=True) == "withheld"
    assert arrival_cell(-18.19, 1.0, is_read=True) == "\N{MINUS SIGN}18.2 ± 1.0 mm"
