"""Draws the README's picture, docs/picture.svg: where the demo's three members stand.

Run as ``python -m demo.picture``. The same bytes come out each time, so a test can hold the picture to the program.
"""

import shutil
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from demo.ousemoor_estate import write_demo_estate
from demo.sluicelog_package import build_package
from staddle.dossier.picture import picture_svg
from staddle.jobs.dossier import report_of_job
from staddle.jobs.folder import find_job
from staddle.jobs.place import place, settle

__all__ = ["picture"]

ROOT: Final = Path(__file__).resolve().parents[1]
DRAWN_AT: Final = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def picture() -> str:
    """The picture as SVG."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        (folder / "estate").mkdir()
        shutil.copytree(ROOT / "demo" / "levels", folder / "levels")
        build_package(folder)
        write_demo_estate(folder / "estate", surveyed=DRAWN_AT.date())
        job = find_job(folder / "levels")
        settle(place(job, DRAWN_AT), by="R. Fenwold", on=DRAWN_AT.date())
        return picture_svg(report_of_job(job, DRAWN_AT, revision="A"))


if __name__ == "__main__":
    (ROOT / "docs" / "picture.svg").write_text(picture(), encoding="utf-8", newline="\n")
    sys.exit(0)
