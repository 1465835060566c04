"""Reading ``take.toml``, of this or an older schema.

It loads neither numpy nor a sound library, so that a list of takes needs neither.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from measure.errors import TakeError
from measure.files.migration import read_versioned
from measure.takes.facts import SCHEMA, TakeDocument

HINT: Final = "copy the take again from where it was made"


def read_take_toml(path: Path) -> TakeDocument:
    """Read the facts of a take.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    TakeDocument
        As the newest schema has it; the file stays as it is.

    Raises
    ------
    TakeError
        If it can't be read, is damaged, or is a newer version's.
    """
    return read_versioned(
        path,
        TakeDocument,
        kind="take",
        newest=SCHEMA,
        error=TakeError,
        what="the facts of a take",
        hint=HINT,
    )
