"""The command dossier: the record for people."""

from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.dossier import make_dossier
from staddle.kernel import SystemClock

__all__ = ["dossier"]


def dossier(*, revision: str = "A", options: Options = Options()) -> int:  # noqa: B008  frozen
    """Write the record for people, as PDF and HTML.

    Job, package, findings, placement, answers, journal and proof.

    Example: staddle dossier --revision B

    Parameters
    ----------
    revision
        What stands in the title block.
    """
    screen = Screen("dossier", as_json=options.json)
    made = make_dossier(options.folder(), SystemClock().now(), revision=revision)
    screen.show(made.report.status)
    screen.show(f"estate {made.survey.sentence()}")
    screen.show("written: " + ", ".join(made.files))
    screen.advise()
    screen.document("written", {"status": made.report.status, "files": made.files, "survey": made.survey})
    return 0
