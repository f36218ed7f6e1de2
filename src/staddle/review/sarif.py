"""A review as SARIF, which code hosts and editors read. Pure: nothing is written here.

Source: OASIS Standard, Static Analysis Results Interchange Format (SARIF) Version 2.1.0; clauses in the comments.
"""

import re
from collections.abc import Iterator, Mapping
from pathlib import PurePath
from typing import Final
from urllib.parse import quote

from staddle.design.waivers import Waived
from staddle.kernel import Finding, Severity, pretty_json
from staddle.review.catalogue import all_rules
from staddle.review.review import Review
from staddle.review.rule import Rule

__all__ = ["JOB_FILES", "sarif_text"]

JOB_FILES: Final = ("design.yaml", "waivers.yaml", "limits.yaml", "placement.yaml")
"""Files of the job folder that findings speak of by their bare names."""

_LEVELS: Final = {Severity.STOP: "error", Severity.RISK: "warning", Severity.NOTE: "note"}  # §3.27.10
_BASE: Final = "JOBFOLDER"
_PLACE: Final = re.compile(
    r"(?P<file>.+?):(?P<line>[1-9]\d*)(?::(?:(?P<column>[1-9]\d*)|(?P<heading>[^:]+)))?"
)

Json = Mapping[str, object]


def sarif_text(review: Review, *, root: PurePath, version: str, refused: bool) -> str:
    """The SARIF log as text.

    Args: root: the job folder; files below it are told from there, so that the log is the same on every machine;
        version: the program's; refused: whether the review ends with 1.
    """
    rules: list[Json] = [_rule(one) for one in all_rules()]
    own = {one.name for one in all_rules()}
    findings = (*review.kept, *(one.finding for one in review.waived))
    # Findings of other rooms keep their own names: SARIF wants to know these rules too.
    others = {finding.rule: _other_rule(finding) for finding in findings if finding.rule not in own}
    rules += others.values()
    index = {str(rule["id"]): number for number, rule in enumerate(rules)}
    results: list[Json] = [_result(finding, index, root) for finding in review.kept]
    results += [_waived(one, index, root) for one in review.waived]
    results += [_not_looked(name, why, index) for name, why in review.blind()]
    run = {
        "tool": {"driver": {"name": "Staddle", "version": version, "rules": rules}},
        # §3.20.14: the tool itself ran to its end, whatever it found.
        "invocations": [{"executionSuccessful": True, "exitCode": 1 if refused else 0}],
        "originalUriBaseIds": {_BASE: {"description": {"text": "the job folder"}}},
        "columnKind": "unicodeCodePoints",
        "results": results,
    }
    return pretty_json({"version": "2.1.0", "runs": [run]})


def _rule(one: Rule) -> Json:
    return {
        "id": one.name,
        "shortDescription": {"text": one.title},
        "fullDescription": {"text": one.reason},
        "help": {"text": f"{one.title}.\nwhy: {one.reason}\nmend: {one.mend}\nsource: {one.source}"},
        "defaultConfiguration": {"level": _LEVELS[one.severity]},
    }


def _other_rule(finding: Finding) -> Json:
    title = finding.rule.replace("-", " ")
    lines = (("why", finding.why), ("mend", finding.mend), ("source", finding.source))
    return {
        "id": finding.rule,
        "shortDescription": {"text": title},
        "help": {"text": "\n".join([title, *(f"{label}: {text}" for label, text in lines if text)])},
        "defaultConfiguration": {"level": _LEVELS[finding.severity]},
    }


def _result(finding: Finding, index: Mapping[str, int], root: PurePath) -> dict[str, object]:
    parts = (finding.what, finding.why and f"why: {finding.why}", finding.mend and f"mend: {finding.mend}")
    return {
        "ruleId": finding.rule,
        "ruleIndex": index[finding.rule],
        "level": _LEVELS[finding.severity],
        "message": {"text": "\n".join(part for part in parts if part)},
        "locations": list(_locations(finding.where, root)),
    }


def _waived(one: Waived, index: Mapping[str, int], root: PurePath) -> Json:
    # §3.35.2: external, since the acceptance stands in a file of its own.
    suppression = {
        "kind": "external",
        "status": "accepted",
        "justification": f"{one.reason} (accepted by {one.by} until {one.until})",
    }
    return _result(one.finding, index, root) | {"suppressions": [suppression]}


def _not_looked(name: str, why: str, index: Mapping[str, int]) -> Json:
    # §3.27.9: a rule that was not evaluated; §3.27.10: level is then none.
    return {
        "ruleId": name,
        "ruleIndex": index[name],
        "kind": "notApplicable",
        "level": "none",
        "message": {"text": f"not looked, so not passed: {why}"},
    }


def _locations(where: str, root: PurePath) -> Iterator[Json]:
    """A place in a file where the finding has one; otherwise the name of the item; nothing where there is neither."""
    found = _PLACE.fullmatch(where)
    artifact = _artifact(found["file"] if found else where, root)
    if artifact is None:
        if where:
            yield {"logicalLocations": [{"fullyQualifiedName": where}]}
        return
    physical: dict[str, object] = {"artifactLocation": artifact}
    if found is not None:
        # §3.30.6: a column is counted from 1 in characters. The column of a table is a heading, and no such number.
        region = {"startLine": int(found["line"])}
        physical["region"] = region | ({"startColumn": int(found["column"])} if found["column"] else {})
    yield {"physicalLocation": physical}


def _artifact(file: str, root: PurePath) -> Json | None:
    """A file that a reader can open; None for a name that is no such file, such as one inside the package."""
    if file in JOB_FILES:
        return {"uri": file, "uriBaseId": _BASE}
    path = PurePath(file)
    if not path.is_absolute():
        return None
    if path.is_relative_to(root):
        return {"uri": quote(path.relative_to(root).as_posix()), "uriBaseId": _BASE}
    return {"uri": path.as_uri()}
