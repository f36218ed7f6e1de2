"""What a job compares its package's signer with: the anchors of its design."""

from datetime import datetime

from staddle.jobs.gather import Gathered
from staddle.jobs.origins import origin_check
from staddle.package import OriginCheck

__all__ = ["origin_of_job"]


def origin_of_job(job: Gathered, now: datetime) -> OriginCheck:
    """What the signer is compared with, by the design's anchors. Raises: as origin_check."""
    return origin_check((job.folder.beside_design(name) for name in job.design.package.anchors), now)
