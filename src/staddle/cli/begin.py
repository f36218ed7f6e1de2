"""The command begin: asks the eight questions, or takes the answers as flags."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Final

from cyclopts import Parameter

from staddle.cli.screen import Screen
from staddle.cli.typed import read_line
from staddle.design.questions import (
    QUESTIONS,
    BeginAnswers,
    NetworkAnswer,
    Question,
    machine_question,
    parse_network_answer,
    parse_window_answer,
)
from staddle.design.schema import schema_text
from staddle.jobs.begin import begin as begin_job
from staddle.jobs.begin import (
    machines_of_package,
    networks_of_package,
    refuse_begun,
    refuse_unknown_network,
    refuse_unknown_profile,
    seen_from_job,
)
from staddle.kernel import InputRefused, StaddleError

__all__ = ["begin"]

_FLAGS: Final = {"job": "name", "networks": "network"}
"""Flags that are not called as their question is."""

_MANY: Final = Parameter(negative=(), consume_multiple=False)


def begin(
    folder: Path | None = None,
    *,
    schema: Annotated[bool, Parameter(negative=())] = False,
    name: str = "",
    cluster: str = "",
    package: str = "",
    profile: str = "",
    estate: str = "",
    members: str = "",
    zone: str = "",
    network: tuple[str, ...] = (),
    machine: str = "",
    size: str = "",
    site: str = "",
    owner: str = "",
    engineer: str = "",
    survey_limit: str = "",
    change: str = "",
    time_server: Annotated[tuple[str, ...], _MANY] = (),
    name_server: Annotated[tuple[str, ...], _MANY] = (),
    window: Annotated[tuple[str, ...], _MANY] = (),
    json: Annotated[bool, Parameter(negative=())] = False,
) -> int:
    """Make a job folder with a commented design.yaml; asks what no flag answers.

    Example: staddle begin levels --name levels --cluster "Ousemoor levels" --package ../sluicelog-4.2.0.ova
    --profile sluicelog --estate ../estate --members 3 --zone levels.ousemoor.example
    --network "om-management 192.0.2.61" --network "om-telemetry 198.51.100.61"

    Parameters
    ----------
    folder
        The folder to make.
    schema
        Only print the JSON Schema of design.yaml.
    name
        Short name of the job; members are named after it.
    cluster
        The cluster's name, as people say it.
    package
        The OVA or OVF file, seen from the new folder or from here.
    profile
        How the appliance is spoken to: an installed profile or a YAML file.
    estate
        Folder of the estate's tables, seen from the new folder or from here.
    members
        How many members.
    zone
        DNS zone of the members' names.
    network
        "NETWORK ADDRESS", once for each network of the package, in its order.
    machine
        Which machine the members are, where the package holds several.
    size
        One of the package's sizes; without it the package's default.
    site
        Site at which all members must stand.
    owner
        The team that answers for the cluster.
    engineer
        Who carries the work out.
    survey_limit
        The oldest survey of the estate to work with, such as "30 d"; without it the estate's own limit, or 30 days.
    change
        Reference in your organisation's change control.
    time_server
        A time server of the members; four or more are usual. Several times.
    name_server
        A name server of the members; without it those of the estate's networks. Several times.
    window
        When change is allowed, as "2026-12-05 20:00 to 2026-12-06 02:00 Europe/London". Several times.
    json
        Print one JSON document instead of text.
    """
    if schema:
        sys.stdout.write(schema_text())
        return 0
    if folder is None:
        sys.stderr.write("error: no folder was named\n  try:   staddle begin FOLDER\n")
        return 2
    screen = Screen("begin", as_json=json)
    refuse_begun(folder)
    windows = tuple(parse_window_answer(text) for text in window)
    flags = {"job": name, "cluster": cluster, "package": package, "profile": profile}
    flags |= {"estate": estate, "members": members, "zone": zone}
    asked = {
        question.key: _answer(question, flags[question.key], _Settled(folder, question.key))
        for question in QUESTIONS
        if question.key in flags
    }
    machine = _machine(folder, asked["package"], machine)
    networks = _networks(folder, asked["package"], machine, asked["estate"], network)
    answers = BeginAnswers(
        job=asked["job"],
        cluster=asked["cluster"],
        package=asked["package"],
        profile=asked["profile"],
        estate=asked["estate"],
        members=int(asked["members"]),
        zone=asked["zone"],
        networks=networks,
        machine=machine,
        size=size,
        site=site,
        owner=owner,
        engineer=engineer,
        survey_limit=survey_limit,
        change=change,
        time_servers=time_server,
        name_servers=name_server,
        windows=windows,
    )
    made = begin_job(folder, answers)
    screen.show(f"made {made.root} with design.yaml")
    screen.show(f"next: read design.yaml, then staddle review --job {folder}")
    screen.document("made", {"folder": str(made.root)})
    return 0


class _Settled:
    """An answer held against the disk as soon as it is given: seven answers must not be typed for nothing."""

    def __init__(self, folder: Path, key: str) -> None:
        self._folder = folder
        self._key = key

    def __call__(self, answer: str) -> str:
        if self._key == "profile":
            refuse_unknown_profile(answer)
        if self._key not in ("package", "estate"):
            return answer
        written = seen_from_job(self._folder, answer)
        if self._key == "package":
            machines_of_package(self._folder, written)
        if written != answer:
            sys.stderr.write(f"written as {written}, which is seen from the job folder\n")
        return written


def _answer(question: Question, flag: str, settled: Callable[[str], str] = str) -> str:
    if flag:
        return settled(question.check(flag))
    while True:
        default = f" [{question.default}]" if question.default else ""
        sys.stderr.write(f"{question.sentence}{default}\n> ")
        sys.stderr.flush()
        line = read_line()
        if not line:
            raise InputRefused.one(
                f'the question for "{question.key}" was not answered',
                why="standard input has ended",
                mend=f"answer it, or give the flag --{_FLAGS.get(question.key, question.key)}",
            )
        try:
            return settled(question.check(line.strip() or question.default))
        except StaddleError as exc:
            sys.stderr.write(exc.text() + "\n")


def _machine(folder: Path, package: str, flag: str) -> str:
    """The machine that is meant; "" where the package holds one only and none was named."""
    known = machines_of_package(folder, package)
    if len(known) == 1 and not flag:
        return ""
    return _answer(machine_question(known), flag)


def _networks(
    folder: Path, package: str, machine: str, estate: str, flags: tuple[str, ...]
) -> tuple[NetworkAnswer, ...]:
    def settled(text: str) -> str:
        refuse_unknown_network(folder, estate, parse_network_answer("", text))
        return text

    known = networks_of_package(folder, package, machine)
    if flags and len(flags) != len(known):
        raise InputRefused.one(
            f"the {'machine' if machine else 'package'} has {len(known)} networks, {len(flags)} are answered",
            why="its networks are " + (", ".join(known) or "none"),
            mend='give --network "NETWORK ADDRESS" once for each, in this order',
        )
    if flags:
        return tuple(
            parse_network_answer(name, settled(text)) for name, text in zip(known, flags, strict=True)
        )
    question = next(question for question in QUESTIONS if question.key == "networks")
    answers = []
    for name in known:
        sys.stderr.write(f"The package's network {name}:\n")
        answers.append(parse_network_answer(name, _answer(question, "", settled)))
    return tuple(answers)
