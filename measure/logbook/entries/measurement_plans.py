"""A walk filed into the logbook: its stops, and what the readings said of the room.

Each time the walk says more, it is kept once more under the moment; what is the same to the
letter as the newest kept one isn't kept twice.
"""

from __future__ import annotations

import json
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Final

from measure.files.output import JsonObject
from measure.logbook.entries.entries import WalkEntry
from measure.logbook.entries.store import add_entry, folder_of, read_entries
from measure.logbook.folder import Logbook
from measure.logbook.names import decode_name, entry_folder_name

WALK: Final = "walk.toml"
FIT: Final = "fit.json"


def file_walk(
    logbook: Logbook, walk: Path, document: JsonObject, *, room: str | None = None
) -> list[Path]:
    """Keep a walk with what `apexline place` found by it.

    Parameters
    ----------
    logbook : Logbook
    walk : Path
        The walk file.
    document : dict
        As `apexline place --json` writes it.
    room : str or None

    Returns
    -------
    list of Path
        The entry's folder; empty where this walk is kept already.

    Raises
    ------
    LogbookError
        If nothing can be written.
    """
    text = json.dumps(document, indent=1, allow_nan=False) + "\n"
    if _is_kept(logbook, walk, text):
        return []
    fit = document.get("fit")
    now = datetime.now().astimezone().replace(microsecond=0)
    entry = WalkEntry(
        name=f"{decode_name(walk.stem)} {now:%Y-%m-%d %H.%M.%S}",
        written=now,
        walk_file=WALK,
        fit_file=FIT,
        room=None if room is None else decode_name(room),
        n_readings=fit.get("n_readings", 0) if isinstance(fit, dict) else 0,
        files=(WALK, FIT),
    )
    with tempfile.TemporaryDirectory() as folder:
        fit_file = Path(folder) / FIT
        fit_file.write_text(text, encoding="utf-8")
        return [add_entry(logbook, entry, files={WALK: walk, FIT: fit_file})]


def _is_kept(logbook: Logbook, walk: Path, text: str) -> bool:
    """Return whether the newest walk that is kept is the same."""
    entries = read_entries(logbook, WalkEntry)[0]
    if not entries:
        return False
    newest = max(entries, key=lambda one: one.written)
    place = folder_of(logbook, WalkEntry) / entry_folder_name(newest.name, kind="walk")
    kept, fit = place / newest.walk_file, place / newest.fit_file
    if not (kept.is_file() and fit.is_file()):
        return False
    return kept.read_bytes() == walk.read_bytes() and fit.read_text(encoding="utf-8") == text
