"""Two groups of a logbook's takes, compared."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from measure.errors import LogbookError
from measure.files.readings.snapshot import read_snapshot
from measure.logbook.remarks import take_path
from measure.takes.names import READING

if TYPE_CHECKING:
    from analysis.comparison.groups.compare import GroupComparison
    from measure.logbook.folder import Logbook


def compare_takes(
    logbook: Logbook, before: Sequence[str], after: Sequence[str], *, pairs: bool
) -> GroupComparison:
    """Return what differs between two groups of takes.

    Parameters
    ----------
    logbook : Logbook
    before, after : sequence of str
        Names of takes.
    pairs : bool
        Whether the groups are two pairs, matched in level.

    Returns
    -------
    GroupComparison

    Raises
    ------
    LogbookError
        If a take isn't there, or they can't be compared.
    """
    from analysis.comparison.groups.compare import compare_groups

    groups = [
        [read_snapshot(take_path(logbook, name) / READING) for name in names]
        for names in (before, after)
    ]
    try:
        return compare_groups(*groups, matching="pair" if pairs else "own")
    except ValueError as problem:
        msg = f"these takes can't be compared: {problem}"
        raise LogbookError(msg) from problem
