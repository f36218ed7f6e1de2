"""A job folder whose design names a platform that comes from outside, as an installed package would bring it. Not a test.

The package is two things in a folder on the path: the platform's one file, and a dist-info with an entry point.
"""

import asyncio
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from demo.ousemoor_estate import write_demo_estate
from staddle.rollout.journal import Recorded, RolloutHead
from staddle.stores.journal import open_sqlite
from tests.cli.demo_job import open_window
from tests.platforms.throwaway.shed import ShedPlatform

__all__ = ["AddedJob", "install_shed"]

_REPOSITORY = Path(__file__).resolve().parents[2]
_MAIN = "from staddle.cli.main import main; main()"


def install_shed(site: Path) -> None:
    """Lay the platform's package into a folder, as an installer would."""
    site.mkdir()
    shutil.copy(_REPOSITORY / "tests/platforms/throwaway/shed.py", site / "shed_yard.py")
    info = site / "shed_yard-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: shed-yard\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text("[staddle.platforms]\nshed = shed_yard:ShedPlatform\n")


@dataclass(kw_only=True)
class AddedJob:
    """One job in ``root/job`` on the platform "shed". ``program`` is what runs in its machines."""

    root: Path
    block: int
    program: Sequence[str]

    def lay_out(self, changes: Mapping[str, str]) -> None:
        """Estate, design (the demo's, with these texts replaced) and the platform's own folder."""
        install_shed(self.root / "site")
        write_demo_estate(self.root / "estate", surveyed=datetime.now(UTC).date())
        self.job.mkdir()
        text = (_REPOSITORY / "demo/levels/design.yaml").read_text(encoding="utf-8")
        for before, after in {"platform: by-hand": "platform: shed", **changes}.items():
            assert before in text, before
            text = text.replace(before, after)
        (self.job / "design.yaml").write_text(text, encoding="utf-8")
        open_window(self.job)
        self.shed.mkdir(mode=0o700, parents=True)
        (self.job / "private").chmod(0o700)
        settings = {"block": self.block, "program": list(self.program)}
        (self.shed / "settings.json").write_text(json.dumps(settings))

    @property
    def job(self) -> Path:
        return self.root / "job"

    @property
    def shed(self) -> Path:
        return self.job / "private" / "shed"

    def staddle(self, *arguments: str, expected: int = 0) -> str:
        """Run the real program in a process of its own. Returns: all that it said."""
        path = [str(self.root / "site"), str(_REPOSITORY / "src"), str(_REPOSITORY)]
        done = subprocess.run(
            [sys.executable, "-c", _MAIN, *arguments, "--job", str(self.job)],
            env={**os.environ, "PYTHONPATH": os.pathsep.join(path)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=120,
        )
        assert done.returncode == expected, done.stdout
        return done.stdout

    def journal(self) -> tuple[RolloutHead, tuple[Recorded, ...]]:
        """The only rollout and its entries."""
        store = open_sqlite(self.job / "journal.sqlite")
        try:
            (head,) = store.rollouts("levels")
            return head, store.entries(head.rollout_id)
        finally:
            store.close()

    def clear(self) -> None:
        """End the machines that were started, through their platform."""
        if not (self.job / "journal.sqlite").exists() or not (self.shed / "settings.json").exists():
            return
        head, _ = self.journal()
        for member in head.plan.members:
            asyncio.run(ShedPlatform(self.shed).remove_machine(head.plan, member))
