"""All that a survey file gives, or the person's error."""

from __future__ import annotations

from typing import TYPE_CHECKING

from measure.errors import SurveyFileError

if TYPE_CHECKING:
    from analysis.survey.result import SurveyResult
    from measure.survey.file import SurveyFile


def evaluate_file(file: SurveyFile) -> SurveyResult:
    """Return all that a survey gives.

    Raises
    ------
    SurveyFileError
        If it can't be evaluated.
    """
    from analysis.survey.result import evaluate_survey

    try:
        return evaluate_survey(file.survey, file.target)
    except ValueError as problem:
        msg = f"{file.path}: {problem}; correct it in the file"
        raise SurveyFileError(msg) from problem
