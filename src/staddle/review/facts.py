"""What a review looks at: one frozen bundle, in which parts may be missing. Nothing is read or judged in here."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import TypeVar

from staddle.addressing.allocation import AddressPlan
from staddle.answers.model import Answers
from staddle.design.limits import Limits
from staddle.design.model import Design, Member
from staddle.design.places import Places
from staddle.design.profile import Profile
from staddle.estate.model import Estate
from staddle.estate.survey import DEFAULT_LIMIT_DAYS
from staddle.kernel import Fault, Finding, OurFault
from staddle.package import Package, Verification
from staddle.placement.model import Problem, Seat
from staddle.review.sights import Sight

__all__ = ["Facts", "Need"]

T = TypeVar("T")


class Need(StrEnum):
    """A part of the facts that may be missing. The value is what is told when it is."""

    ESTATE = "the estate was not read"
    PACKAGE = "the package was not read"
    VERIFICATION = "the package's files were not verified"
    PROFILE = "the appliance's profile was not read"
    PROBLEM = "the placement question cannot be asked yet"
    SEATS = "no placement is settled"
    ADDRESSES = "the addresses are not planned"
    ANSWERS = "the package's questions are not answered yet"
    LIMITS = "the maker's limits are not written down"
    SIGHTS = "no probes were sent: staddle review --live"


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Everything that rules may look at.

    ``today`` is the local day and ``now`` the instant. ``seats`` is the settled placement, valid or not. Faults are
    those that kept addresses, answers, the placement question or the verification from being made; their parts are None
    then. ``estate_findings`` were made while the estate was read.
    """

    design: Design
    places: Places
    today: date
    now: datetime
    survey_age_limit_days: int = DEFAULT_LIMIT_DAYS
    estate: Estate | None = None
    estate_findings: tuple[Finding, ...] = ()
    package: Package | None = None
    verification: Verification | None = None
    package_faults: tuple[Fault, ...] = ()
    profile: Profile | None = None
    problem: Problem | None = None
    placement_faults: tuple[Fault, ...] = ()
    seats: tuple[Seat, ...] | None = None
    addresses: AddressPlan | None = None
    address_faults: tuple[Fault, ...] = ()
    answers: Answers | None = None
    answer_faults: tuple[Fault, ...] = ()
    limits: Limits | None = None
    sights: tuple[Sight, ...] | None = None

    def at(self, path: str) -> str:
        """``file:line:column`` of a value of the design, for example ``at("names.ttl")``."""
        return self.places.find(path)

    def missing(self, needs: tuple[Need, ...]) -> tuple[Need, ...]:
        """Those of the parts that are not there, in the order of ``needs``."""
        parts: dict[Need, object] = {
            Need.ESTATE: self.estate,
            Need.PACKAGE: self.package,
            Need.VERIFICATION: self.verification,
            Need.PROFILE: self.profile,
            Need.PROBLEM: self.problem,
            Need.SEATS: self.seats,
            Need.ADDRESSES: self.addresses,
            Need.ANSWERS: self.answers,
            Need.LIMITS: self.limits,
            Need.SIGHTS: self.sights,
        }
        return tuple(need for need in needs if parts[need] is None)

    def get_estate(self) -> Estate:
        """The estate. Raises: OurFault: a rule did not say that it needs it; so do all that follow."""
        return _there(self.estate, Need.ESTATE)

    def get_package(self) -> Package:
        """The package."""
        return _there(self.package, Need.PACKAGE)

    def size_of(self, member: Member) -> str:
        """The size that a member has: its own, else the design's, else the package's default."""
        return member.size or self.design.package.size or self.get_package().default_size()

    def get_verification(self) -> Verification:
        """What was verified of the package."""
        return _there(self.verification, Need.VERIFICATION)

    def get_profile(self) -> Profile:
        """The profile."""
        return _there(self.profile, Need.PROFILE)

    def get_problem(self) -> Problem:
        """The placement question."""
        return _there(self.problem, Need.PROBLEM)

    def get_seats(self) -> tuple[Seat, ...]:
        """The settled seats."""
        return _there(self.seats, Need.SEATS)

    def get_addresses(self) -> AddressPlan:
        """The address plan."""
        return _there(self.addresses, Need.ADDRESSES)

    def get_answers(self) -> Answers:
        """The answers."""
        return _there(self.answers, Need.ANSWERS)

    def get_limits(self) -> Limits:
        """The maker's limits."""
        return _there(self.limits, Need.LIMITS)

    def get_sights(self) -> tuple[Sight, ...]:
        """What live probes saw."""
        return _there(self.sights, Need.SIGHTS)


def _there(part: T | None, need: Need) -> T:
    if part is None:
        raise OurFault.one(f"a rule looked although {need}", mend="name it among the rule's needs")
    return part
