"""The sheet package: what the appliance's package holds and every question it will ask."""

from dataclasses import dataclass
from typing import Final

from staddle.jobs.draft import is_begun, package_of_draft
from staddle.jobs.package import PackageReport, package_of_job
from staddle.package import Package, Property, SizeFigures
from staddle.web.sheet import Ask, Sheet, Shown

__all__ = ["SHEET", "PackageData"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRow:
    """One size with its whole disks: thick bytes, and thin at first (None where the maker does not state it)."""

    size_id: str
    label: str
    description: str
    is_default: bool
    processors: int
    memory_bytes: int
    thick_bytes: int
    thin_bytes: int | None
    transfer_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionRow:
    """One question that a person will be asked. The default of a secret is not shown."""

    label: str
    key: str
    type: str
    category: str
    description: str
    default: str
    allowed: str
    is_secret: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageData:
    """The package, as read and (where it was asked for) as compared with its digests."""

    file: str
    report: PackageReport
    chosen_size: str
    sizes: tuple[SizeRow, ...]
    questions: tuple[QuestionRow, ...]
    others: tuple[str, ...]


def _view(ask: Ask) -> Shown:
    look = package_of_job if is_begun(ask.place.folder) else package_of_draft
    path, size, report = look(ask.place.folder, ask.now, verify=ask.query.get("compared") == "yes")
    found = report.package
    return Shown(
        data=PackageData(
            file=path.name,
            report=report,
            chosen_size=size,
            sizes=tuple(_size(found, figures) for figures in report.figures),
            questions=tuple(_question(found, p) for p in found.properties if p.user_configurable),
            others=tuple(other.name for other, _ in report.others),
        )
    )


def _size(found: Package, figures: SizeFigures) -> SizeRow:
    size = next(one for one in found.sizes if one.size_id == figures.size_id)
    return SizeRow(
        size_id=size.size_id,
        label=size.label,
        description=size.description,
        is_default=size.is_default,
        processors=figures.processors,
        memory_bytes=figures.memory_bytes,
        thick_bytes=figures.thick_bytes,
        thin_bytes=figures.thin_bytes,
        transfer_bytes=figures.transfer_bytes,
    )


def _question(found: Package, asked: Property) -> QuestionRow:
    bounds = [
        f"at least {asked.min_length} characters" if asked.min_length else "",
        f"at most {asked.max_length} characters" if asked.max_length else "",
    ]
    return QuestionRow(
        label=asked.label or asked.key,
        key=asked.key,
        type=asked.type,
        category=asked.category,
        description=asked.description,
        default="" if asked.password else asked.default_for(found.default_size()),
        allowed=", ".join(asked.allowed) or ", ".join(filter(None, bounds)),
        is_secret=asked.password,
    )


SHEET: Final = Sheet(
    name="package",
    title="Package",
    purpose="What the package holds, what it needs, and every question it will ask.",
    order=20,
    view=_view,
    is_before_begin=True,
)
