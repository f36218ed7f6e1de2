"""journal: what happened, exported so that the job folder alone is enough for the next engineer."""

import json
from dataclasses import dataclass

from staddle.jobs.design import design_of
from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.rollouts import last_rollout, open_journal
from staddle.kernel import InputRefused, OurFault, canonical_json
from staddle.rollout.journal import Recorded, RolloutHead, Store, leaf_hash, tree_root
from staddle.rollout.run import Run, fold

__all__ = ["JournalReport", "all_journals", "export_journal", "read_journal"]


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalReport:
    """One rollout as the journal has it. ``root`` is the RFC 6962 tree head over the leaf hashes, hex."""

    head: RolloutHead
    entries: tuple[Recorded, ...]
    run: Run
    root: str


def read_journal(folder: JobFolder, rollout_id: str = "") -> JournalReport:
    """One rollout, the newest of the job if none is named; every leaf hash is computed anew and compared.

    Raises: InputRefused: there is none, or the design that names the job has faults; OurFault: an entry does not
        have its hash.
    """
    job = design_of(folder).job.name
    store = open_journal(folder)
    try:
        head = store.get_rollout(rollout_id) if rollout_id else last_rollout(store, job)
        if head is None:
            raise InputRefused.one(
                "the journal is empty", where=str(folder.journal), mend="carry out a rehearsal first"
            )
        return report_of(store, head)
    finally:
        store.close()


def all_journals(folder: JobFolder) -> tuple[JournalReport, ...]:
    """Every rollout and rehearsal of the job, the newest last. Makes nothing: () where there is no journal yet.

    Raises: as read_journal.
    """
    if not folder.journal.exists():
        return ()
    job = design_of(folder).job.name
    store = open_journal(folder)
    try:
        return tuple(report_of(store, head) for head in store.rollouts(job))
    finally:
        store.close()


def report_of(store: Store, head: RolloutHead) -> JournalReport:
    """The report of one rollout. Raises: OurFault: an entry is missing between others, or does not have its hash."""
    entries = store.entries(head.rollout_id)
    for number, recorded in enumerate(entries, 1):
        if recorded.seq != number:
            raise OurFault.one(
                f"entry {number} of {head.rollout_id} is missing",
                why=f"the next one that is there has number {recorded.seq}",
                mend="compare with the exported journal in records/",
            )
        if leaf_hash(head.rollout_id, recorded.seq, recorded.epoch, recorded.entry) != recorded.leaf_hash:
            raise OurFault.one(
                f"entry {recorded.seq} of {head.rollout_id} does not have its hash",
                why="it was changed after it was recorded",
                mend="compare with the exported journal in records/",
            )
    root = tree_root([bytes.fromhex(recorded.leaf_hash) for recorded in entries]).hex()
    return JournalReport(head=head, entries=entries, run=fold(head.plan, entries), root=root)


def export_journal(folder: JobFolder, report: JournalReport) -> str:
    """Write the rollout as JSON lines: its head, each entry, and the tree head last.

    Returns: the file's name below the job folder.
    """
    lines = [canonical_json({"head": report.head}).decode()]
    lines += [canonical_json(recorded).decode() for recorded in report.entries]
    lines.append(json.dumps({"entries": len(report.entries), "root": report.root}, sort_keys=True))
    path = folder.records / report.head.rollout_id / "journal.jsonl"
    write_text(path, "\n".join(lines) + "\n")
    return str(path.relative_to(folder.root))
