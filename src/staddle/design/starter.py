"""The first design.yaml of a job: commented, valid at once, optional blocks shown as comments.

Lines with ``##`` explain; removing ``# `` from the lines with a single ``#`` switches an optional key or block on.
"""

from typing import Final

from staddle.design.questions import BeginAnswers, WindowAnswer
from staddle.design.schema import SCHEMA_FILE
from staddle.design.yamltext import yaml_scalar

__all__ = ["starter_text"]

_TAIL: Final = """\
storage:
  ## thick: written in advance; thin: as it fills
  allocation: thick
  ## share of the disks kept free for snapshots
  snapshot_percent: 15
#   swap_percent: 100
#   pools: [pool-a, pool-b, pool-c]

## What the cluster must carry; it answers questions of the package, such as how long data is kept.
# load:
#   samples_per_second: 2000
#   retention: 400 d
#   growth_percent_per_year: 10

## Time: the same servers for all members, four or more.
clock:
  zone: UTC
  most_offset: 100 ms
SERVERS

## The fingerprint is read from the console, or entered, before the wire's is shown.
trust:
  fingerprint: console
  join_secret_lifetime: 1 h

## Spans in which change is allowed, in local time with its zone. A rollout is refused outside them.
WINDOWS
"""


_WINDOW_SHOWN: Final = WindowAnswer(opens="2026-12-05 20:00", closes="2026-12-06 02:00", zone="Europe/London")


def starter_text(answers: BeginAnswers) -> str:
    """The whole text of design.yaml. Reading it back gives the design that the answers describe."""
    parts = (
        f"# yaml-language-server: $schema=./{SCHEMA_FILE}",
        '## The design: what is wanted. "##" explains; remove "# " to use an optional line.',
        "",
        *_job(answers),
        *_package(answers),
        *_members(answers),
        *_rules(),
        *_names(answers),
        *_networks(answers),
    )
    servers = _optional_list(
        "  ", "servers", answers.time_servers, "192.0.2.1, 192.0.2.2, 192.0.2.3, 192.0.2.4"
    )
    tail = _TAIL.replace("SERVERS", servers).replace("WINDOWS", _windows(answers))
    return "\n".join(parts) + "\n" + tail


def _windows(answers: BeginAnswers) -> str:
    mark = "" if answers.windows else "# "
    shown = answers.windows or (_WINDOW_SHOWN,)
    lines = [f"{mark}windows:"]
    for one in shown:
        lines += [f"{mark}  - opens: {one.opens}", f"{mark}    closes: {one.closes}"]
        lines.append(f"{mark}    zone: {yaml_scalar(one.zone)}")
    return "\n".join(lines)


def _optional_list(indent: str, key: str, values: tuple[str, ...], example: str) -> str:
    if values:
        return f"{indent}{key}: [{', '.join(yaml_scalar(value) for value in values)}]"
    return f"# {indent}{key}: [{example}]"


def _optional(indent: str, key: str, value: str, example: str) -> str:
    return f"{indent}{key}: {yaml_scalar(value)}" if value else f"# {indent}{key}: {example}"


def _job(answers: BeginAnswers) -> tuple[str, ...]:
    return (
        "job:",
        f"  name: {yaml_scalar(answers.job)}",
        f"  cluster: {yaml_scalar(answers.cluster)}",
        "  ## the folder of the estate's tables, seen from this file",
        f"  estate: {yaml_scalar(answers.estate)}",
        "  ## an older survey of the estate is not worked with; without this line the estate's own limit, or 30 d",
        _optional("  ", "survey_limit", answers.survey_limit, "30 d"),
        _optional("  ", "owner", answers.owner, "the team that answers for the cluster"),
        _optional("  ", "engineer", answers.engineer, "who carries the work out"),
        _optional("  ", "change", answers.change, "reference in your organisation's change control"),
        "  ## who approved the change, never who carries it out, and the day; a rollout asks for both",
        '#   approved_by: ""',
        "#   approved_on: 2026-11-20",
        "",
    )


def _package(answers: BeginAnswers) -> tuple[str, ...]:
    machine = (
        "  ## the package holds several machines: the members are this one",
        f"  machine: {yaml_scalar(answers.machine)}",
    )
    return (
        "package:",
        f"  file: {yaml_scalar(answers.package)}",
        *(machine if answers.machine else ()),
        "  ## none: all but rehearsal and rollout works; docs/profiles.md tells how one is written",
        f"  profile: {yaml_scalar(answers.profile)}",
        "  ## one of the package's sizes; without this line its default",
        _optional("  ", "size", answers.size, "one-of-its-sizes"),
        "  ## the person who read and accepted the licence texts, and the day; an empty name accepts nothing",
        '#   licence_accepted_by: ""',
        "#   licence_accepted_on: 2026-11-20",
        "#   answers:",
        "#     - property: key-of-the-question",
        "#       value: the answer; never a secret",
        "",
    )


def _members(answers: BeginAnswers) -> tuple[str, ...]:
    lines = [
        "## One row a machine. The first leader founds the cluster; the second is its deputy.",
        "members:",
    ]
    for number in range(1, answers.members + 1):
        lines.append(f"  - name: {yaml_scalar(f'{answers.job}-{number}')}")
        if number <= 2:
            lines.append(f"    leads: {'first' if number == 1 else 'second'}")
        if answers.site:
            lines.append(f"    site: {yaml_scalar(answers.site)}")
    lines += ["## a row may also say: data, votes, site, host, keep_out, size, answers", ""]
    return tuple(lines)


def _rules() -> tuple[str, ...]:
    return (
        "## No two members share one of these.",
        '## A row may also be "2 a rack", "deputy by room", "votes by site", "data within 10 ms" or "data on one CPU level".',
        "apart: [host, rack, pool]",
        "## The cluster must outlive each of these.",
        "survive:",
        "  - any 1 host",
        "#   - any 1 rack",
        '#   - "named: rack-a + feed-2"',
        "## What holds afterwards; without these lines most of the data members, and everybody's machines restart.",
        "#   - afterwards 2 data members",
        "#   - afterwards members share no host",
        "#   - afterwards others may stay down",
        "#   - afterwards 6 vCPUs a core",
        "",
    )


def _names(answers: BeginAnswers) -> tuple[str, ...]:
    return (
        "names:",
        f"  zone: {yaml_scalar(answers.zone)}",
        "  ttl: 300 s",
        "  ## one more name that points to every member",
        "#   cluster: log",
        _optional_list("  ", "servers", answers.name_servers, "192.0.2.53"),
        "",
    )


def _networks(answers: BeginAnswers) -> tuple[str, ...]:
    lines = [
        "## One row a network of the package: where it is attached, and the first of consecutive free addresses.",
        "networks:",
    ]
    for number, network in enumerate(answers.networks):
        lines += [
            f"  - package: {yaml_scalar(network.package)}",
            f"    estate: {yaml_scalar(network.estate)}",
            f"    first: {yaml_scalar(network.first)}",
        ]
        if number == 0:
            lines += ["    ## the members' DNS names point to these addresses", "    named: true"]
    return (*lines, "")
