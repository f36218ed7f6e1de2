"""The eight questions of ``begin``, as data. Asking them is cli/'s work, writing the file starter.py's.

Which eight, and why: a design is valid with a job, a cluster name, a package, a profile, an estate, members, a zone
and an address on each network; nothing else must be asked. The profile has a question of its own because the program
knows no product and so has no default. The size is not asked: empty means the package's own default, and the sizing
step is the place to choose it (``begin`` takes it as a flag). Which networks there are is read from the package; the
eighth question is asked once for each of them. Where the package holds several machines, one more asks which is meant.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Final

from staddle.design.hostname import check_host_name, host_name_fault
from staddle.design.profile import NO_PROFILE
from staddle.kernel import Fault, InputRefused, parse_days

__all__ = [
    "QUESTIONS",
    "BeginAnswers",
    "NetworkAnswer",
    "Question",
    "WindowAnswer",
    "machine_question",
    "parse_members",
    "parse_network_answer",
    "parse_window_answer",
]

_WINDOW: Final = re.compile(r"(\d{4}-\d\d-\d\d \d\d:\d\d) to (\d{4}-\d\d-\d\d \d\d:\d\d) (\S+)", re.ASCII)
_MOST_MEMBERS: Final = 99  # two digits in a name; more than any maker's limit we know of
_MOST_JOB_NAME: Final = 60  # leaves room for "-99" in a label of 63 (RFC 1035 §2.3.4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question: ``check`` gives the answer as it is kept, or raises InputRefused.

    Args: key: name of the answer and of the flag; default: "" where an answer must be given.
    """

    key: str
    sentence: str
    default: str
    check: Callable[[str], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkAnswer:
    """Where one network of the package is attached, and the first of the members' addresses on it."""

    package: str
    estate: str
    first: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowAnswer:
    """A span in which change is allowed, as design.yaml writes it; read strictly with the design."""

    opens: str
    closes: str
    zone: str


def parse_window_answer(text: str) -> WindowAnswer:
    """A window as it is typed. Raises: InputRefused: not of that form.

    Example: parse_window_answer("2026-12-05 20:00 to 2026-12-06 02:00 Europe/London").zone == "Europe/London"
    """
    found = _WINDOW.fullmatch(text.strip())
    if found is None:
        raise _refusal(
            f'"{text}" is not a window',
            mend='write it as "2026-12-05 20:00 to 2026-12-06 02:00 Europe/London"',
        )
    return WindowAnswer(opens=found[1], closes=found[2], zone=found[3])


@dataclass(frozen=True, slots=True, kw_only=True)
class BeginAnswers:
    """The answers, each as its check keeps it, and what flags may add (all that has a default here).

    Args: networks: one a network of the package, in its order; the first one carries the members' names.
    """

    job: str
    cluster: str
    package: str
    profile: str
    estate: str
    members: int
    zone: str
    networks: tuple[NetworkAnswer, ...]
    machine: str = ""
    size: str = ""
    site: str = ""
    owner: str = ""
    engineer: str = ""
    survey_limit: str = ""
    change: str = ""
    time_servers: tuple[str, ...] = ()
    name_servers: tuple[str, ...] = ()
    windows: tuple[WindowAnswer, ...] = ()

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        for question in QUESTIONS:
            if question.key == "networks":
                continue
            try:
                kept = question.check(str(getattr(self, question.key)))
                if question.key != "members":
                    object.__setattr__(self, question.key, kept)
            except InputRefused as exc:
                faults.extend(exc.faults)
        if self.survey_limit:
            try:
                parse_days(self.survey_limit)
            except InputRefused as exc:
                faults.extend(exc.faults)
        if not self.networks:
            faults.extend(
                _refusal("no network is attached", mend="answer the last question for each network").faults
            )
        for network in self.networks:
            try:
                parse_network_answer(network.package, f"{network.estate} {network.first}")
            except InputRefused as exc:
                faults.extend(exc.faults)
        if faults:
            raise InputRefused(*faults)


def _refusal(what: str, *, why: str = "", mend: str) -> InputRefused:
    return InputRefused.one(what, why=why, mend=mend)


def _some_text(what: str) -> Callable[[str], str]:
    def check(text: str) -> str:
        if not text.strip():
            raise _refusal(f"{what} is empty", mend=f"give {what}")
        return text.strip()

    return check


def _job(text: str) -> str:
    name = text.strip().lower()
    why = host_name_fault(f"{name}.example") if name else "it is empty"
    if "." in name:
        why = "a dot parts names in DNS"
    elif len(name) > _MOST_JOB_NAME:
        why = f"it has more than {_MOST_JOB_NAME} characters"
    if not why:
        return name
    raise _refusal(
        f'"{text}" cannot be the name of a job',
        why=f"members are named after it, and {why}",
        mend="use lower-case letters, digits and hyphens, for example ousemoor-log",
    )


def parse_members(text: str) -> int:
    """The number of members, 1 to 99. An odd number of three or more is suggested, not demanded.

    Raises: InputRefused: not such a number.
    """
    digits = text.strip()
    if not (
        digits.isascii() and digits.isdigit() and 1 <= int(digits[:4]) <= _MOST_MEMBERS and len(digits) < 4
    ):
        raise _refusal(f'"{text}" is not a number of members from 1 to {_MOST_MEMBERS}', mend="3 is usual")
    return int(digits)


def parse_network_answer(package: str, text: str) -> NetworkAnswer:
    """The eighth answer for one network of the package: the estate's network, a blank, the first address.

    Raises: InputRefused: not these two, or the second is no address.
    Example: parse_network_answer("management", "ous-mgmt 192.0.2.11").first == "192.0.2.11"
    """
    estate, _, first = text.strip().rpartition(" ")
    try:
        ip_address(first)
    except ValueError as exc:
        raise _refusal(
            f'"{text}" does not end with an address',
            mend="write the estate's network and the first address, for example: ous-mgmt 192.0.2.11",
        ) from exc
    if not estate.strip() or "%" in first:
        raise _refusal(
            f'"{text}" does not name a network of the estate',
            mend="write the estate's network and the first address, for example: ous-mgmt 192.0.2.11",
        )
    return NetworkAnswer(package=package, estate=estate.strip(), first=first)


def machine_question(machines: Sequence[str]) -> Question:
    """What is asked beside the eight where the package holds several machines: which of them the members are."""

    def check(text: str) -> str:
        if text.strip() in machines:
            return text.strip()
        raise _refusal(
            f'the package holds no virtual machine "{text.strip()}"',
            why="it holds " + ", ".join(machines),
            mend="name one of these",
        )

    return Question(
        key="machine",
        sentence=f"The package holds {len(machines)} machines: {', '.join(machines)}. Which of them are the members?",
        default="",
        check=check,
    )


def _network(text: str) -> str:
    answer = parse_network_answer("", text)
    return f"{answer.estate} {answer.first}"


QUESTIONS: Final[tuple[Question, ...]] = (
    Question(
        key="job",
        sentence="A short name for this job? Members are named after it: NAME-1, NAME-2 …",
        default="",
        check=_job,
    ),
    Question(
        key="cluster",
        sentence="The cluster's name, as people say it?",
        default="",
        check=_some_text("the cluster's name"),
    ),
    Question(
        key="package",
        sentence="The package: which OVA or OVF file, seen from the job folder?",
        default="",
        check=_some_text("the package's file"),
    ),
    Question(
        key="profile",
        sentence="How is this appliance spoken to: which installed profile, or which YAML file? none: nobody wrote it yet.",
        default=NO_PROFILE,
        check=_some_text("the profile"),
    ),
    Question(
        key="estate",
        sentence="Where are the estate's tables, seen from the job folder?",
        default="../estate",
        check=_some_text("the estate's folder"),
    ),
    Question(
        key="members",
        sentence="How many members? An odd number, three or more, keeps a majority when one fails.",
        default="3",
        check=lambda text: str(parse_members(text)),
    ),
    Question(
        key="zone",
        sentence="Which DNS zone holds the members' names?",
        default="",
        check=check_host_name,
    ),
    Question(
        key="networks",
        sentence="Which network of the estate, and the first of the members' addresses on it (NETWORK ADDRESS)?",
        default="",
        check=_network,
    ),
)
