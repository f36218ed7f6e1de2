"""docs/rules.md, made from the rules themselves, so that the page cannot fall behind."""

from staddle.kernel import Severity
from staddle.review.catalogue import all_rules
from staddle.review.rule import Rule

__all__ = ["rules_page"]

_HEAD = """\
# Rules of the review

Made from the code by `python -m staddle.review.pages > docs/rules.md`; a test compares the two.

`staddle review` lets every rule look at the job folder. A **stop** refuses the rollout, a **risk** needs a decision, a
**note** informs. A finding can be accepted in `waivers.yaml` by a named person, with a reason and an end date. A rule
that lacks what it must look at is listed as not looked, with the reason; it is never counted as passed. Rules of live probes look
with `staddle review --live` only: it lists every probe (what, to whom, which port) and sends them when you agree.

A single finding may be milder or worse than its rule, where the rule's text says so. Numbers are starting values of the
trade; the source says where there is a standard.
"""


def rules_page() -> str:
    """The page as Markdown: a table of all rules, worst first, then each rule with its parts."""
    rules = sorted(all_rules(), key=lambda one: (one.severity.rank, one.name))
    lines = [_HEAD, "| rule | severity | what it finds |", "| --- | --- | --- |"]
    lines += [f"| [{one.name}](#{one.name}) | {one.severity} | {one.title} |" for one in rules]
    for severity in Severity:
        lines += ["", f"## {str(severity).capitalize()}"]
        for one in rules:
            if one.severity is severity:
                lines += _rule(one)
    return "\n".join(lines) + "\n"


def _rule(one: Rule) -> list[str]:
    needs = "; ".join(f"not looked while {need}" for need in one.needs) or "always looks"
    return [
        "",
        f"### {one.name}",
        "",
        f"{one.title}.",
        "",
        f"- why: {one.reason}",
        f"- mend: {one.mend}",
        f"- source: {one.source}",
        f"- looks: {needs}",
    ]


if __name__ == "__main__":
    import sys

    sys.stdout.write(rules_page())
