"""The report: everything that the record of one cluster's rollout says, as frozen values. No rendering in here.

There is no field for a secret: an answer that the strongbox holds is told by the name under which it lies there.
"""

from dataclasses import dataclass
from datetime import date, datetime

from staddle.design.waivers import Waived
from staddle.dossier.elevation import Elevation
from staddle.kernel import Fault, Finding, InputRefused
from staddle.kernel.cautions import CAUTIONS
from staddle.placement.keeping import Keeping
from staddle.placement.model import PassedOver
from staddle.proof.model import Proof
from staddle.survival.availability import Availability

__all__ = [
    "AnswerSheet",
    "JobFacts",
    "JournalLine",
    "JournalRecord",
    "LimitLine",
    "LimitsRecord",
    "NotLooked",
    "PackageFacts",
    "Pinned",
    "PlacementRecord",
    "Report",
    "RequestLine",
    "RequestsRecord",
    "SeatLine",
    "SheetSection",
    "ShippedFile",
    "Signatory",
    "SizeFacts",
    "Work",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFacts:
    """Whose work this is."""

    job: str
    cluster: str
    owner: str = ""
    engineer: str = ""
    change: str = ""
    approved_by: str = ""
    approved_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippedFile:
    """One file of the package. ``sha256`` is "" where nothing was verified."""

    name: str
    size_bytes: int
    sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeFacts:
    """What one size asks for. ``chosen``: data-holding members of this job have it."""

    label: str
    processors: int
    memory_bytes: int
    disk_bytes: int
    chosen: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageFacts:
    """The package as it was shipped and read. ``licences`` are the texts' titles, never the texts."""

    product: str
    version: str
    vendor: str
    file_name: str
    file_bytes: int
    sha256: str
    descriptor_name: str
    descriptor_sha256: str
    files: tuple[ShippedFile, ...] = ()
    sizes: tuple[SizeFacts, ...] = ()
    licences: tuple[str, ...] = ()
    licence_accepted_by: str = ""
    licence_accepted_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pinned:
    """One input and its SHA-256, as the journal pinned it."""

    what: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NotLooked:
    """One rule that could not be applied, and why."""

    rule: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatLine:
    """Where one member stands, and why there. ``disks`` are (disk, pool)."""

    member: str
    host: str
    disks: tuple[tuple[str, str], ...]
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementRecord:
    """The settled placement and what it stands on."""

    elevation: Elevation
    seats: tuple[SeatLine, ...]
    passed_over: tuple[PassedOver, ...] = ()
    settled_by: str = ""
    settled_on: date | None = None
    keeping: Keeping | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSection:
    """Rows of (label, value) under a heading."""

    title: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerSheet:
    """Everything about one member that a person would type."""

    title: str
    sections: tuple[SheetSection, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalLine:
    """One entry of the journal. ``evidence`` is (what, value), both short."""

    seq: int
    at: datetime
    step: str
    event: str
    actor: str
    site: str = ""
    evidence: tuple[tuple[str, str], ...] = ()
    leaf_sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalRecord:
    """The journal of one rollout and the root over all its entries (RFC 6962 §2.1)."""

    rollout_id: str
    purpose: str
    made_by: str
    made_at: datetime
    lines: tuple[JournalLine, ...]
    root_sha256: str
    emergencies: tuple[str, ...] = ()  # each in words


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What a change board is asked about.

    Args: tasks: what is to be done, in its order; windows: when, in local time with the zone; none: nobody set one; fixed:
        (step, note) of what cannot be backed out once done.
    """

    tasks: tuple[str, ...] = ()
    windows: tuple[str, ...] = ()
    fixed: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestLine:
    """One request to other people: whom, by when, how it stands, and what shows it done."""

    title: str
    owner: str
    lead_days: int
    standing: str
    is_late: bool = False
    shown_by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestsRecord:
    """The requests sheet in short. ``counted``: from where the due dates are counted, as a sentence."""

    counted: str
    lines: tuple[RequestLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitLine:
    """One answer of the maker's papers. ``paper``: which one, and its date."""

    what: str
    value: str
    applies_to: str
    paper: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsRecord:
    """What the maker supports, and the questions that no paper answers."""

    lines: tuple[LimitLine, ...]
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signatory:
    """One signature: the role, and the name where it is known beforehand. The signature itself is made on paper."""

    role: str
    name: str = ""


_ROLES = (Signatory(role="carried out"), Signatory(role="checked"), Signatory(role="accepted"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """The whole record. ``status`` is one sentence: where the job stands. Instants are aware; they are shown in UTC.

    ``surveyed`` is the day of the estate's survey; its age is counted to ``made_at``. ``proof`` None: nothing was proven.
    ``drifted``: inputs that changed since the rollout pinned them; the sheets are made from those of today.
    """

    job: JobFacts
    revision: str
    made_at: datetime
    status: str
    package: PackageFacts
    pinned: tuple[Pinned, ...] = ()
    kept: tuple[Finding, ...] = ()
    waived: tuple[Waived, ...] = ()
    not_looked: tuple[NotLooked, ...] = ()
    placement: PlacementRecord | None = None
    availability: Availability | None = None
    surveyed: date | None = None
    surveyed_by: str = ""
    survey_limit_days: int | None = None
    sheets: tuple[AnswerSheet, ...] = ()
    journal: JournalRecord | None = None
    proof: Proof | None = None
    drifted: tuple[str, ...] = ()
    work: Work = Work()
    requests: RequestsRecord | None = None
    limits: LimitsRecord | None = None
    cautions: tuple[str, ...] = CAUTIONS
    signatories: tuple[Signatory, ...] = _ROLES

    def __post_init__(self) -> None:
        instants = [("made_at", self.made_at)]
        if self.journal is not None:
            instants += [(f"journal line {line.seq}", line.at) for line in self.journal.lines]
        faults = [
            Fault(what=f"{label} is {instant}, an instant without its zone")
            for label, instant in instants
            if instant.utcoffset() is None
        ]
        if faults:
            raise InputRefused(*faults)

    @property
    def survey_age_days(self) -> int | None:
        """Days from the survey to the making of this record."""
        return None if self.surveyed is None else (self.made_at.date() - self.surveyed).days
