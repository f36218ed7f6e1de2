"""The waivers of a job: read where there are any. What they accept is said in design/."""

from datetime import datetime

from staddle.design.waivers import Waiver, read_waivers
from staddle.jobs.folder import JobFolder, read_text

__all__ = ["waivers_in"]


def waivers_in(folder: JobFolder, now: datetime) -> tuple[Waiver, ...]:
    """The job's waivers; () where it has none. Raises: InputRefused: every fault of waivers.yaml."""
    if not folder.waivers.is_file():
        return ()
    return read_waivers(read_text(folder.waivers), where="waivers.yaml", today=now.date()).value
