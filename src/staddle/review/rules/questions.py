"""Rules about the package's questions and their answers."""

from collections.abc import Iterator

from staddle.kernel import Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, found_fault, rule


@rule(
    name="answer-not-allowed",
    severity=Severity.STOP,
    title="An answer is not what the package allows",
    reason="the appliance would refuse it at its first start, or take something else for it",
    mend="mend the answer at the named place",
    source="DSP0243, Property; DSP0004 for types and qualifiers",
)
def answer_not_allowed(facts: Facts) -> Iterator[Found]:
    yield from (found_fault(fault) for fault in facts.answer_faults)


@rule(
    name="open-question",
    severity=Severity.STOP,
    title="A question of the package has no answer",
    reason="the appliance needs it at its first start; an importer would ask for it in the window",
    mend="answer it with staddle sheets --answer, or in design.yaml: package.answers, or in the member's row",
    source="DSP0243, Property with userConfigurable",
    needs=(Need.ANSWERS,),
)
def open_question(facts: Facts) -> Iterator[Found]:
    asked: dict[tuple[str, str, str], list[str]] = {}
    for one in facts.get_answers().members:
        for row in one.open_rows():
            asked.setdefault((row.key, row.label, row.reason), []).append(one.member)
    for (key, label, reason), members in asked.items():
        yield Found(
            what=f'nothing answers "{label or key}" for {", ".join(members)}',
            where=f"property {key}",
            why=reason,
        )
