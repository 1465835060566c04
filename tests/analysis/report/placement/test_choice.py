"""The advised places in words."""

from __future__ import annotations

import re

import numpy as np

from analysis.placement.choice import Choice, Placement
from analysis.placement.objective import ObjectiveTerms
from analysis.placement.places import Places
from analysis.report.placement.choice import placement_lines


def terms_of(n_places: int) -> ObjectiveTerms:
    """Return terms that are the same everywhere."""
    one = np.ones(n_places)
    return ObjectiveTerms(
        evenness_db=3 * one,
        strength_db=2 * one,
        likeness_db=0.5 * one,
        worst_dip_db=-7.25 * one,
        worst_peak_db=6 * one,
        worst_dip_hz=50 * one,
        worst_peak_hz=71 * one,
    )


def choice(name: str, index: int, front_m: float, **values: float) -> Choice:
    """Return a choice, as even from 0.1 m before to 0.1 m behind."""
    terms = {
        "evenness_db": 3.04,
        "evenness_std_db": 0.6,
        "strength_db": 2.0,
        "likeness_db": 0.5,
        "worst_dip_db": -5.5,
        "worst_peak_db": 6.0,
        "worst_dip_hz": 50.0,
        "worst_peak_hz": 71.0,
        "cost_db": 3.2,
        "holds_percent": 83.3,
    }
    return Choice(
        name=name,
        index=index,
        front_wall_m=front_m,
        half_spread_m=0.9,
        seat_m=2.6,
        interval_m=(front_m - 0.1, front_m + 0.1),
        **(terms | values),
    )


def placement_of(*choices: Choice) -> Placement:
    """Return a placement of three front distances, in two drawn rooms."""
    front = np.array([0.4, 0.8, 1.2])
    points = np.column_stack([np.full(3, 1.1), front, np.full(3, 0.6)])
    drawn = np.array([[3.0, 3.4, 5.0], [3.0, 3.6, 5.0]])
    return Placement(
        places=Places(
            front_wall_m=front,
            half_spread_m=np.full(3, 0.9),
            seat_m=np.full(3, 2.6),
            left_m=points,
            right_m=points,
            listener_m=points,
        ),
        nominal=terms_of(3),
        evenness_db=np.array([3.0, 3.5, 5.0]),
        strength_db=np.array([2.0, 1.0, 0.0]),
        cost_db=np.array([3.2, 3.8, 5.5]),
        evenness_draws_db=drawn,
        evenness_draws_with_error_db=drawn,
        pareto=np.array([True, False, False]),
        choices=choices,
    )


def told(*choices: Choice) -> str:
    """Return all that is said, on one line."""
    lines = placement_lines(placement_of(*choices), current=(0.83, 0.9, 2.6), schroeder_hz=183.6)
    return " ".join(" ".join(lines).split())


def test_the_evenest_place_comes_first_with_its_interval() -> None:
    # Known input.
    said = told(choice("evenest", 0, 0.4))
    assert said.startswith(
        "0.30 to 0.50 m from the front wall, each 0.90 m from the centre line, head at 2.60 m: "
        "evenest (3.0 dB), with a peak of 6.0 dB near 71 Hz."
    )
    assert "3.0 ± 0.6 dB" in said
    assert "83 %" in said


def test_a_stronger_place_is_told_against_the_evenest() -> None:
    # Known input: differences, not levels.
    said = told(
        choice("evenest", 0, 0.4),
        choice("balanced", 1, 0.8, evenness_db=3.5),
        choice("stronger", 2, 1.2, strength_db=4.3, evenness_db=4.24),
    )
    assert "best balance of evenness, dips and likeness (3.5 dB)" in said
    assert "2.3 dB stronger, 1.2 dB less even" in said


def test_today_stands_beside_the_choices() -> None:
    # Known input: the judged place nearest to 0.83 m; within 0.5 dB of the best in one of two.
    said = told(choice("evenest", 0, 0.4))
    row = re.search(r"today 0\.80 m 0\.90 m 2\.60 m 3\.5 dB 1\.0 dB −7\.\d dB 0\.5 dB 50 %", said)
    assert row, said


def test_what_isn_t_known_is_said() -> None:
    # Invariant: the Schroeder frequency, the unknowns and a caution end the text.
    said = told(choice("evenest", 0, 0.4))
    assert "anything above about 184 Hz" in said
    for word in ("neighbours", "furniture", "Listen before you drill or glue"):
        assert word in said
    assert "within 0.5 dB of the best" in said
