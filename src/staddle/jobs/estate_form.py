"""estate --form: the form for surveying by hand, written into the estate's folder."""

from datetime import datetime
from pathlib import Path
from typing import Final

from staddle.estate.form import form_html
from staddle.estate.survey import read_survey
from staddle.jobs.folder import write_text
from staddle.kernel import InputRefused

__all__ = ["FORM_FILE", "write_form"]

FORM_FILE: Final = "survey-form.html"


def write_form(folder: Path, now: datetime) -> Path:
    """Write the form. Returns: where it lies.

    Raises: OutsideFailed: the file system refuses.
    """
    try:
        name = read_survey(folder).name
    except InputRefused:  # before the first survey there is no head to read the name from
        name = folder.resolve().name
    path = folder / FORM_FILE
    write_text(path, form_html(name, now.date()))
    return path
