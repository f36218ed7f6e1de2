"""The answers of a gathered job: what sheets, review and rollout start from."""

from staddle.answers.model import Answers
from staddle.answers.resolve import resolve_answers
from staddle.jobs.gather import Gathered

__all__ = ["answers_of"]


def answers_of(job: Gathered) -> Answers:
    """The answers of every member. Raises: InputRefused: everything that is wrong with them."""
    return resolve_answers(
        design=job.design,
        package=job.package,
        profile=job.profile,
        addresses=job.get_addresses(),
        size_id=job.size_id,
    )
