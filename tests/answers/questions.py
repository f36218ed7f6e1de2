"""Small packages, designs and profiles for the answers' tests; each test changes only what it is about."""

from pathlib import Path

from staddle.addressing.allocation import AddressPlan, plan_addresses
from staddle.design.model import (
    Answer,
    AnswerRule,
    Attachment,
    Clock,
    Design,
    Job,
    Load,
    Member,
    Names,
    PackageChoice,
)
from staddle.design.profile import Profile
from staddle.design.reader import read_model
from staddle.estate.model import Network
from staddle.package import Hardware, Package, Property, Size

__all__ = ["addresses_of", "answer", "design_of", "package_of", "profile_of", "question"]

_PROFILE = Path(__file__).parents[2] / "src/staddle/appliances/profiles/sluicelog.yaml"
NETWORK = Network(
    name="om-management", prefix="192.0.2.0/25", gateway="192.0.2.1", dns_servers=("192.0.2.2", "192.0.2.3")
)


def question(key: str = "sluicelog.log_level", **changes: object) -> Property:
    """A question of the package, free text unless changed."""
    facts: dict[str, object] = {
        "key": key,
        "type": "string",
        "label": key.rpartition(".")[2],
        "user_configurable": True,
    }
    return Property(**{**facts, **changes})  # type: ignore[arg-type]  # the test's own values


def package_of(*questions: Property) -> Package:
    """A package with two sizes that asks these questions."""
    hardware = {"processors": 2, "memory_bytes": 4 << 30, "disks": (), "adapters": ()}
    return Package(
        name="sluicelog",
        product="Sluicelog",
        vendor="",
        version="4.2.0",
        ovf_edition="1",
        descriptor_name="a.ovf",
        descriptor_sha256="0" * 64,
        has_manifest=True,
        has_certificate=False,
        sizes=(Size(size_id="brook", label="Brook"), Size(size_id="river", label="River", is_default=True)),
        hardware=tuple(Hardware(size_id=size, **hardware) for size in ("brook", "river")),  # type: ignore[arg-type]
        files=(),
        disks=(),
        networks=("Management",),
        properties=questions,
        licences=(),
    )


def answer(key: str, value: str) -> Answer:
    """An explicit answer."""
    return Answer(property=key, value=value)


def design_of(
    *,
    answers: tuple[Answer, ...] = (),
    of_first: tuple[Answer, ...] = (),
    servers: tuple[str, ...] = (),
    rules: tuple[AnswerRule, ...] = (),
) -> Design:
    """Two members at om-management, the first leading."""
    return Design(
        job=Job(name="levels", cluster="Ousemoor levels", estate="../estate"),
        package=PackageChoice(file="a.ova", profile="sluicelog", size="river", answers=answers, rules=rules),
        members=(
            Member(name="levels-1", leads="first", answers=of_first),
            Member(name="levels-2", leads="second"),
        ),
        load=Load(retention="400 d"),
        names=Names(zone="ousemoor.example", cluster="levels"),
        networks=(Attachment(package="Management", estate="om-management", first="192.0.2.61", named=True),),
        clock=Clock(servers=servers),
    )


def addresses_of(design: Design) -> AddressPlan:
    """The design's addresses on the one network."""
    return plan_addresses(design, (NETWORK,))


def profile_of(**answers: str) -> Profile:
    """The installed profile with these rules only; underscores in names stand for the class's dot."""
    profile = read_model(_PROFILE.read_text(), Profile, where="sluicelog").value
    return profile.model_copy(
        update={"answers": {key.replace("__", "."): rule for key, rule in answers.items()}}
    )
