"""The last sheet: cautions in full, and where those sign who carried out, checked and accepted the work."""

from staddle.dossier.blocks import Facts, Items, Paragraph, Section, Signing
from staddle.dossier.model import Report
from staddle.dossier.sections.wording import instant

__all__ = ["signatures"]


def signatures(report: Report) -> Section:
    """The section."""
    root = report.journal.root_sha256 if report.journal is not None else "no journal"
    return Section(
        title="Cautions and signatures",
        blocks=(
            Items(title="Cautions", items=report.cautions),
            Paragraph(text="Whoever signs confirms this record in this revision, with this journal."),
            Facts(rows=(("revision", report.revision), ("made at", instant(report.made_at)))),
            Facts(fixed=True, rows=(("journal's root", root),)),
            Signing(rows=tuple((one.role, one.name) for one in report.signatories)),
        ),
    )
