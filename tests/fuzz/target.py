"""The fuzz target: ``python -m tests.fuzz.target PART SECONDS [FOLDER]``; ``make fuzz`` runs every part.

Inputs that a run invents go into FOLDER and stay out of the repository; the small corpus beside this file is read and
never written. An input that breaks a promise of parts.py is written to the present folder as ``crash-…``, is mended, and
is then kept in the corpus. Coverage-guided by atheris (a general-purpose library, Apache-2.0, group "fuzz").
"""

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["staddle.package", "staddle.kernel", "tarfile"]):
    from tests.fuzz.parts import CORPUS, PARTS


def main(part: str, seconds: str, found: str = "") -> None:
    """Fuzz one part for so many seconds."""
    where = Path(found or tempfile.mkdtemp(prefix="staddle-fuzz-"), part)
    where.mkdir(parents=True, exist_ok=True)
    options = [f"-max_total_time={seconds}", "-timeout=20", "-rss_limit_mb=1500", "-max_len=20000"]
    if (words := CORPUS / f"{part}.words").exists():
        options.append(f"-dict={words}")
    kept = [str(CORPUS / part)] if (CORPUS / part).is_dir() else []
    atheris.Setup([sys.argv[0], *options, "-print_final_stats=1", str(where), *kept], PARTS[part])
    atheris.Fuzz()


if __name__ == "__main__":
    main(*sys.argv[1:])
