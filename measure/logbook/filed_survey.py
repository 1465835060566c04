"""A survey kept in the logbook under its file's name and the moment."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from measure.logbook.entries import SurveyEntry
from measure.logbook.entry_store import add_entry
from measure.logbook.folder import open_logbook
from measure.logbook.names import as_text


def file_survey(folder: Path, survey: Path) -> Path:
    """Keep a copy of a survey.

    Parameters
    ----------
    folder : Path
        The logbook.
    survey : Path

    Returns
    -------
    Path
        The entry's folder.

    Raises
    ------
    LogbookError
        If there is no such logbook, or nothing can be written.
    """
    now = datetime.now().astimezone()
    name = "survey.toml"
    entry = SurveyEntry(
        name=f"{as_text(survey.stem)} {now:%Y-%m-%d %H.%M.%S}",
        written=now.replace(microsecond=0),
        survey_file=name,
        files=(name,),
    )
    return add_entry(open_logbook(folder), entry, files={name: survey})
