"""The design: what the engineer wants, as design.yaml states it. Rows and plain fields, no wrapper objects.

These are the only definitions: the strict reader (reader.py), the JSON Schema (schema.py) and the starter file
(starter.py) all come from them. Amounts and durations are written with their unit and kept as text here;
the properties next to them give bytes and timedeltas.
"""

from datetime import date, timedelta
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from staddle.kernel import parse_bytes, parse_days, parse_duration
from staddle.kernel.errors import StaddleError

__all__ = [
    "Amount",
    "Answer",
    "AnswerRule",
    "Attachment",
    "Clock",
    "Days",
    "Design",
    "DiskChoice",
    "Job",
    "Label",
    "Load",
    "Member",
    "Names",
    "PackageChoice",
    "Row",
    "Span",
    "Storage",
    "Trust",
    "Window",
]


def _amount(text: str) -> str:
    _plain_error(parse_bytes, text)
    return text


def _span(text: str) -> str:
    _plain_error(parse_duration, text)
    return text


def _whole_days(text: str) -> str:
    _plain_error(parse_days, text)
    return text


def _plain_error(parse: object, text: str) -> None:
    # pydantic collects ValueError and turns it into one located fault; ours would end the reading at once.
    try:
        parse(text)  # type: ignore[operator]  # either of the two parsers
    except StaddleError as exc:
        fault = exc.faults[0]
        raise ValueError(f"{fault.what}: {fault.mend}") from exc


Amount = Annotated[str, AfterValidator(_amount)]
Span = Annotated[str, AfterValidator(_span)]
Days = Annotated[str, AfterValidator(_whole_days)]
Label = Annotated[str, Field(pattern=r"^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$")]  # RFC 1123 §2.1, lower case


class Row(BaseModel):
    """Root of every row that people write: frozen, unknown keys refused, no silent conversion."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


_Row = Row  # the name under which other modules of this room know it


class Job(Row):
    """Whose work this is."""

    name: Label = Field(description="short name of the job; goes into tags and file names")
    cluster: str = Field(description="the cluster's name, as people say it")
    owner: str = Field(default="", description="the team that answers for the cluster")
    engineer: str = Field(default="", description="who carries the work out")
    change: str = Field(default="", description="reference in your organisation's change control")
    approved_by: str = Field(default="", description="who approved the change; never who carries it out")
    approved_on: date | None = Field(default=None, description="the day they did")
    estate: str = Field(description="folder of the estate's tables, seen from this file")
    survey_limit: Days | None = Field(
        default=None,
        description="oldest survey of the estate to work with, in whole days; without it the estate's own",
    )
    platform: str = Field(
        default="by-hand", description="how machines are made: by-hand, or an installed platform"
    )

    @property
    def survey_limit_days(self) -> int | None:
        """The oldest survey in days, None for the estate's own limit."""
        return None if self.survey_limit is None else parse_days(self.survey_limit)


class Answer(Row):
    """An explicit answer to one question of the package; it wins over every rule."""

    property: str = Field(description="the property's full key")
    value: str = Field(description="the answer, as text; a secret is never written here")


class AnswerRule(Row):
    """How one question is answered for every member; read after the explicit answers, before the profile's rule."""

    property: str = Field(description="the property's full key")
    rule: str = Field(
        description="the answer; ${name} in it is filled in for each member, as in a profile's answers"
    )


class PackageChoice(Row):
    """The package, and what was settled about it."""

    file: str = Field(description="the OVA or OVF file, seen from this file")
    size: str = Field(default="", description="one of the package's sizes; empty means its default")
    machine: str = Field(
        default="", description="the id of the members' machine, where the package holds several"
    )
    profile: str = Field(
        description="how this appliance is spoken to: an installed profile, a YAML file, or none yet"
    )
    sha256: str = Field(
        default="", pattern=r"^([0-9a-f]{64})?$", description="digest that every site must see"
    )
    anchors: tuple[str, ...] = Field(
        default=(), description="files with the certificates that the package's signer must lead to"
    )
    licence_accepted_by: str = Field(default="", description="who accepted the licence texts")
    licence_accepted_on: date | None = Field(default=None, description="the day they did")
    vcpu_per_core: float | None = Field(
        default=None,
        ge=0.1,
        le=64,
        description="most vCPUs a core for its members; empty: the host's own limit",
    )
    answers: tuple[Answer, ...] = Field(default=(), description="answers that hold for every member")
    rules: tuple[AnswerRule, ...] = Field(
        default=(), description="rules by which questions are answered for each member"
    )


class Member(Row):
    """One machine of the cluster."""

    name: Label = Field(description="host name of the member, without its zone")
    data: bool = Field(default=True, description="holds data")
    votes: bool = Field(default=True, description="counts for the majority")
    leads: Literal["first", "second", "never"] = Field(
        default="never", description="first leader, its deputy, or neither"
    )
    site: str = Field(default="", description="the site it must stand at; empty means any")
    host: str = Field(default="", description="pin to this host")
    keep_out: tuple[str, ...] = Field(default=(), description="hosts or domains it must not stand in")
    size: str = Field(default="", description="a size of its own, for members that hold no data")
    answers: tuple[Answer, ...] = Field(default=(), description="answers of this member only")


class Load(Row):
    """What the cluster must carry."""

    samples_per_second: int | None = Field(default=None, ge=0, description="average arrival rate")
    retention: Span | None = Field(default=None, description="how long data is kept, for example 400 d")
    growth_percent_per_year: int | None = Field(default=None, ge=0, description="growth of the arrival rate")


class DiskChoice(Row):
    """How one disk of the package is stored."""

    disk: str = Field(description="the package's disk id")
    allocation: Literal["thick", "thin"] = Field(
        default="thick", description="written in advance, or as it fills"
    )
    capacity: Amount | None = Field(default=None, description="a larger capacity than the package's")

    @property
    def capacity_bytes(self) -> int | None:
        """The capacity asked for, None to keep the package's."""
        return None if self.capacity is None else parse_bytes(self.capacity)


class Storage(Row):
    """Storage rules for all members."""

    allocation: Literal["thick", "thin"] = Field(
        default="thick", description="for disks without a row of their own"
    )
    disks: tuple[DiskChoice, ...] = Field(default=(), description="rows for single disks")
    swap_percent: int = Field(
        default=0, ge=0, le=100, description="swap file beside the disks, share of memory"
    )
    snapshot_percent: int = Field(
        default=15, ge=0, le=100, description="allowance for snapshots, share of disks"
    )
    pools: tuple[str, ...] = Field(default=(), description="only these pools; empty means any")


class Names(Row):
    """Names in DNS."""

    zone: str = Field(description="the zone that holds the members' names")
    cluster: Label | None = Field(default=None, description="one more name that points to every member")
    ttl: Span = Field(default="300 s", description="time to live of the records")
    servers: tuple[str, ...] = Field(
        default=(), description="name servers the members ask; empty: the network's"
    )

    @property
    def ttl_s(self) -> int:
        """The time to live in seconds."""
        return int(parse_duration(self.ttl).total_seconds())


class Attachment(Row):
    """One network of the package and where it is attached."""

    package: str = Field(description="the network's name in the package")
    estate: str = Field(description="the network's name in the estate")
    site: str = Field(
        default="",
        description="only for members of this site; empty: for members whose site has no row of its own",
    )
    addresses: tuple[str, ...] = Field(
        default=(), description="one for each member that the row is for, in the order of members"
    )
    first: str = Field(default="", description="or: the first of consecutive free addresses")
    named: bool = Field(default=False, description="the members' DNS names point to these addresses")


class Clock(Row):
    """Time."""

    zone: str = Field(
        default="UTC", description="the members' time zone; UTC unless the maker says otherwise"
    )
    servers: tuple[str, ...] = Field(default=(), description="time servers, the same for all members")
    most_offset: Span = Field(default="100 ms", description="largest offset that the proof accepts")

    @property
    def most_offset_span(self) -> timedelta:
        """The largest accepted clock offset."""
        return parse_duration(self.most_offset)


class Trust(Row):
    """How certificates and secrets are handled."""

    fingerprint: Literal["console", "entered"] = Field(
        default="console", description="where the expected fingerprint comes from, before the wire's is shown"
    )
    join_secret_lifetime: Span = Field(default="1 h", description="how long a join secret may live")

    @property
    def join_secret_span(self) -> timedelta:
        """How long a join secret may live."""
        return parse_duration(self.join_secret_lifetime)


class Window(Row):
    """A span in which change is allowed, in local time with its zone."""

    opens: str = Field(pattern=r"^\d{4}-\d\d-\d\d \d\d:\d\d$", description="for example 2026-12-05 20:00")
    closes: str = Field(pattern=r"^\d{4}-\d\d-\d\d \d\d:\d\d$", description="for example 2026-12-06 02:00")
    zone: str = Field(description="for example Europe/London")


class Design(Row):
    """The whole of design.yaml."""

    job: Job
    package: PackageChoice
    members: tuple[Member, ...] = Field(min_length=1)
    load: Load = Load()
    apart: tuple[str, ...] = Field(
        default=("host",),
        description='kinds of domain that no two members share, also pool; or "2 a rack", "deputy by room", '
        '"votes by site"; and "data within 10 ms", "data on one CPU level"',
    )
    survive: tuple[str, ...] = Field(
        default=("any 1 host",),
        description='scenarios such as "any 1 host", "any 1 rack", "named: A + B"; and what holds then, such as '
        '"afterwards 2 data members"',
    )
    storage: Storage = Storage()
    names: Names
    networks: tuple[Attachment, ...] = Field(min_length=1)
    clock: Clock = Clock()
    trust: Trust = Trust()
    windows: tuple[Window, ...] = ()
