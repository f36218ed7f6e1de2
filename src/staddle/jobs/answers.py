"""The answers of a gathered job: what sheets, review and rollout start from."""

from staddle.answers.model import Answers
from staddle.answers.resolve import resolve_answers
from staddle.jobs.gather import Gathered
from staddle.kernel import Fault, NotAllowed

__all__ = ["answers_of", "refuse_open_questions"]


def answers_of(job: Gathered) -> Answers:
    """The answers of every member. Raises: InputRefused: everything that is wrong with them."""
    return resolve_answers(
        design=job.design,
        package=job.package,
        profile=job.profile,
        addresses=job.get_addresses(),
        size_id=job.size_id,
    )


def refuse_open_questions(answers: Answers) -> None:
    """Raises: NotAllowed: with every question of a member that nothing answers yet."""
    open_questions = [
        Fault(
            what=f'nothing answers "{row.label}" for {one.member}',
            where=f"property {row.key}",
            why=row.reason,
            mend="answer it with staddle sheets --answer, or in design.yaml: package.answers, or in the member's row",
        )
        for one in answers.members
        for row in one.open_rows()
    ]
    if open_questions:
        raise NotAllowed(*open_questions)
