"""Limits on what is made to be played."""

from __future__ import annotations

import pytest

from measure.errors import UnsafeError
from measure.safety import SAFE_LEVEL_DBFS, cautions, check_level


def test_louder_than_safe_needs_its_flag() -> None:
    check_level(SAFE_LEVEL_DBFS, louder=False)
    check_level(0.0, louder=True)
    with pytest.raises(UnsafeError, match="--louder-than-safe"):
        check_level(SAFE_LEVEL_DBFS + 0.1, louder=False)


@pytest.mark.parametrize("level_dbfs", [0.1, float("nan"), float("inf")])
def test_no_flag_allows_more_than_full_scale(level_dbfs: float) -> None:
    with pytest.raises(UnsafeError, match="above full scale"):
        check_level(level_dbfs, louder=True)


def test_the_cautions_name_what_can_be_hurt() -> None:
    # Known input: the file that ships with the package.
    text = cautions().lower()
    for word in ("ears", "tweeters", "pets", "neighbours", "volume"):
        assert word in text
    assert max(map(len, text.splitlines())) <= 88
