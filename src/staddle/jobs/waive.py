"""waive: accept a finding, by name, with a reason and an end date, at the end of waivers.yaml. What meets what is design/'s."""

import json
from datetime import date, datetime

from staddle.design.waivers import Waiver, read_waivers
from staddle.jobs.folder import JobFolder, read_text, write_text
from staddle.jobs.review import review_job
from staddle.kernel import InputRefused

__all__ = ["waive"]


def waive(
    folder: JobFolder, now: datetime, *, rule: str, where: str, by: str, reason: str, until: date
) -> Waiver:
    """Add one row; everything that stands in the file stays as it is written.

    Args: where: the item it is about, "" for the rule everywhere.
    Raises: InputRefused: the row is not such a row, it meets no finding that stands, or the file has faults already.
    """
    before = read_text(folder.waivers) if folder.waivers.is_file() else ""
    if not read_waivers(before, where="waivers.yaml", today=now.date()).value and before.strip() == "[]":
        before = ""
    rows = {"rule": rule, "where": where.strip(), "by": by.strip(), "reason": reason.strip()}
    # A JSON text is a YAML one (YAML 1.2.2 §1.3), so nothing that is typed can mean anything else than itself.
    lines = [f"{key}: {json.dumps(text, ensure_ascii=False)}" for key, text in rows.items() if text]
    lines.append(f"until: {until.isoformat()}")
    text = (before.rstrip("\n") + "\n\n" if before.strip() else "") + "- " + "\n  ".join(lines) + "\n"
    waiver = read_waivers(text, where="waivers.yaml", today=now.date()).value[-1]
    if until < now.date():
        raise InputRefused.one(
            f"the waiver's last day, {until}, is over", where="until", mend="write a day to come"
        )
    kept = review_job(folder, now, verify=False).review.kept
    if not any(waiver.meets(finding) for finding in kept):
        item = f" for {waiver.where}" if waiver.where else ""
        raise InputRefused.one(
            f"no finding of {rule}{item} stands",
            where="where",
            why="a waiver accepts the rule everywhere, or what is named in a finding's place or sentence",
            mend="write a name as the finding has it, or leave it blank for the rule everywhere",
        )
    write_text(folder.waivers, text)
    return waiver
