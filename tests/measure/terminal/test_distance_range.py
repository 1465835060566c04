"""What FROM:TO:STEP may say."""

from __future__ import annotations

import click
import pytest

from measure.terminal.distance_range import KEEP, DistanceRange


def test_a_range_and_keep() -> None:
    # Known input.
    kind = DistanceRange()
    assert kind.convert("0.3:1.6:0.05", None, None) == (0.3, 1.6, 0.05)
    assert kind.convert("0.8:0.8:0.1", None, None) == (0.8, 0.8, 0.1)
    assert kind.convert("keep", None, None) == KEEP


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1.6:0.3:0.05", "FROM 1.6 m is beyond TO 0.3 m"),
        ("0.3:1.6:0", "STEP 0 m must be at least 0.005 m"),
        ("0.3:1.6:-0.1", "STEP -0.1 m"),
        ("0:1.6:0.1", "must lie above 0"),
        ("0.3:31:0.1", "below 30 m"),
        ("0.3:1.6", "FROM:TO:STEP"),
        ("near:far:0.1", "'near' is no number"),
        ("0.3:nan:0.1", "'nan' is no number"),
        ("0,3:1,6:0,1", "write 0.3"),
        ("0.3:29:0.005", "more than 500 steps"),
    ],
)
def test_what_is_refused(text: str, said: str) -> None:
    # Each by what is wrong with it.
    with pytest.raises(click.BadParameter) as caught:
        DistanceRange().convert(text, None, None)
    assert said in str(caught.value)
