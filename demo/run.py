"""The demo: the Ousemoor job from package to proof, by the program's own commands, each shown as it is run.

Everything is written below build/demo. Running it again clears the former one away first.
"""

import contextlib
import shutil
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from demo.ousemoor_estate import write_demo_estate
from demo.sluicelog_package import build_package

__all__ = ["main"]

ROOT = Path(__file__).resolve().parents[1]
PLACE = ROOT / "build" / "demo"
JOB = PLACE / "levels"
TWO_SITES = PLACE / "gates"


def main() -> int:
    """Run the whole demo. Returns: 0 if every command did."""
    begun = time.monotonic()
    prepare()
    steps = (
        (
            "what does the package hold, is it intact, what will it ask?",
            ["package", str(shown(PLACE / "sluicelog-4.2.0.ova"))],
        ),
        ("what would go wrong, before anything is touched?", ["review", *job()]),
        ("where do the three stand so that no single failure hurts?", ["place", "--settle", "--yes", *job()]),
        ("what does a person type?", ["sheets", *job()]),
        ("what must other people do, and by when?", ["requests", *job()]),
        ("carry it out, on stand-ins", ["rehearse", *job()]),
        ("leave the record", ["dossier", *job()]),
        ("and is it really so, from every member?", ["prove", "--rehearsal", *job()]),
    )
    for title, arguments in steps:
        print(f"\n--- {title}\n$ staddle {' '.join(arguments)}\n", flush=True)
        code = subprocess.run([sys.executable, "-m", "staddle", *arguments], cwd=ROOT, check=False).returncode
        if code:
            print(f"\nthe demo stopped: the command above ended with {code}")
            return code
    at = shown(JOB)
    print(f"""
--- done in {time.monotonic() - begun:.0f} s. Three members run on loopback addresses, as processes of their own.

The records
  {at}/records/dossier.pdf           for people: the change board, the next engineer, the auditor
  {at}/records/placement.svg         where the members stand
  {at}/records/levels-rehearsal-1/   journal and proof, for programs
  {at}/sheets/                       answer sheets, zone files, requests with due dates

What to try next
  . .venv/bin/activate
  staddle journal --job {at}                        every step, who, when, and the hash over all of it
  staddle survive --job {at}                        what each failure takes, and who restarts where
  staddle review --refuse-at risk --job {at}        with a stricter eye
  staddle availability --job {at}                   how much of a year it serves, and what would help most
  staddle rollout --dry-run --job {at}              what the real thing would do, by hand
  staddle back-out --rehearsal --job {at}           clear the stand-ins away: only what carries our tag
  staddle place --job {shown(TWO_SITES)}                           data at two sites, a vote at a third that breaks ties
  staddle begin my-job                                           your own package, eight questions""")
    return 0


def prepare() -> None:
    """Package, estate and design, as an engineer would have them; what a former demo left is taken back first."""
    for former in (one for one in (JOB, TWO_SITES) if one.exists()):
        command = [
            sys.executable,
            "-m",
            "staddle",
            "back-out",
            "--rehearsal",
            "--destroy",
            "--job",
            str(former),
        ]
        subprocess.run(command, cwd=ROOT, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    with contextlib.suppress(FileNotFoundError):
        shutil.rmtree(PLACE)
    (PLACE / "estate").mkdir(parents=True)
    shutil.copytree(ROOT / "demo" / "levels", JOB)
    shutil.copytree(ROOT / "demo" / "gates", TWO_SITES)
    shutil.copy(ROOT / "demo" / "levels" / "limits.yaml", TWO_SITES)  # one maker, one paper
    build_package(PLACE)
    # The demo's estate was surveyed five days ago, whenever that is.
    write_demo_estate(PLACE / "estate", surveyed=datetime.now(UTC).date() - timedelta(days=5))


def job() -> list[str]:
    """The option that names the job folder."""
    return ["--job", str(shown(JOB))]


def shown(path: Path) -> Path:
    """The path as a person in the project's folder would type it."""
    return path.relative_to(ROOT)


if __name__ == "__main__":
    sys.exit(main())
