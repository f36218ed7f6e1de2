"""The package, its sizes, and every digest in full."""

from collections.abc import Iterator

from staddle.dossier.blocks import Block, Column, Facts, Paragraph, Row, Section, Table
from staddle.dossier.model import Report
from staddle.dossier.sections.wording import count, day
from staddle.kernel import format_binary, format_decimal

__all__ = ["package"]


def package(report: Report) -> Section:
    """The section."""
    return Section(title="Package and digests", blocks=tuple(_blocks(report)))


def _blocks(report: Report) -> Iterator[Block]:
    facts = report.package
    yield Facts(
        rows=(
            ("product", facts.product),
            ("version", facts.version or "not stated"),
            ("maker", facts.vendor or "not stated"),
            ("file", facts.file_name),
            ("file's length", f"{facts.file_bytes} B ({format_decimal(facts.file_bytes)})"),
            ("descriptor", facts.descriptor_name),
            ("licence texts", _licences(report)),
        )
    )
    yield Facts(
        title="SHA-256",
        fixed=True,
        rows=(("package file", facts.sha256), ("descriptor", facts.descriptor_sha256)),
    )
    yield Table(
        title="Files in the package",
        columns=(
            Column(head="file", share=2),
            Column(head="bytes", share=1),
            Column(head="SHA-256", share=4.6, fixed=True),
        ),
        rows=tuple(
            Row(cells=(f.name, str(f.size_bytes), f.sha256 or "not verified"), attention=not f.sha256)
            for f in facts.files
        ),
        empty="The package refers to no file.",
    )
    yield Table(
        title="Sizes",
        columns=tuple(
            Column(head=head) for head in ("size", "processors", "memory", "disks, thick", "chosen")
        ),
        rows=tuple(
            Row(
                cells=(
                    size.label,
                    str(size.processors),
                    format_binary(size.memory_bytes),
                    format_decimal(size.disk_bytes),
                    "chosen" if size.chosen else "",
                )
            )
            for size in facts.sizes
        ),
        empty="The package describes no size.",
    )
    if report.pinned:
        yield Paragraph(
            text="The rollout pinned these inputs at its start; the journal is true of them only."
        )
        yield Facts(
            title="Pinned inputs, SHA-256",
            fixed=True,
            rows=tuple((pinned.what, pinned.sha256) for pinned in report.pinned),
        )
    else:
        yield Paragraph(text="No rollout has pinned its inputs yet.")


def _licences(report: Report) -> str:
    facts = report.package
    if not facts.licences:
        return "the package holds none"
    who, when = facts.licence_accepted_by, facts.licence_accepted_on
    accepted = f"accepted by {who}" if who else "NOT accepted"
    on = f" on {day(when)}" if who and when else ""
    return f"{count(len(facts.licences), 'text')} ({'; '.join(facts.licences)}), {accepted}{on}"
