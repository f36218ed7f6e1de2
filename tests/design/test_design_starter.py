"""The starter file: what is answered is what is read back, and every optional line works once its mark is removed."""

import json
import re
from dataclasses import replace

import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.design.model import Attachment, Clock, Design, Job, Member, Names, PackageChoice, Window
from staddle.design.questions import (
    QUESTIONS,
    BeginAnswers,
    NetworkAnswer,
    parse_network_answer,
    parse_window_answer,
)
from staddle.design.reader import read_design
from staddle.design.schema import SCHEMA_FILE, schema_text
from staddle.design.starter import starter_text
from staddle.kernel import InputRefused
from tests.design.bad_designs import GOOD

OUSEMOOR = BeginAnswers(
    job="ousemoor-log",
    cluster="Ousemoor water levels",
    package="../sluicelog.ova",
    profile="sluicelog",
    estate="../estate",
    members=3,
    zone="ousemoor.example",
    networks=(
        NetworkAnswer(package="management", estate="ous-mgmt", first="192.0.2.11"),
        NetworkAnswer(package="storage", estate="ous-storage", first="198.51.100.11"),
    ),
)
texts = st.text(min_size=1, max_size=20).map(str.strip).filter(bool)
labels = st.from_regex(r"[a-z0-9]([a-z0-9-]{0,20}[a-z0-9])?", fullmatch=True)
answers = st.builds(
    BeginAnswers,
    job=labels,
    cluster=texts,
    package=texts,
    profile=texts,
    estate=texts,
    members=st.integers(1, 9),
    zone=st.lists(labels, min_size=1, max_size=3).map(lambda parts: ".".join([*parts, "example"])),
    networks=st.lists(
        st.builds(NetworkAnswer, package=texts, estate=texts, first=st.ip_addresses().map(str)),
        min_size=1,
        max_size=3,
        unique_by=(lambda network: network.package, lambda network: network.estate),
    ).map(tuple),
    size=st.just("") | texts,
    site=st.just("") | texts,
    owner=st.just("") | texts,
    engineer=st.just("") | texts,
)


def described(given_answers: BeginAnswers) -> Design:
    """The design that the answers describe, made without any text."""
    roles = ["first", "second"] + ["never"] * given_answers.members
    return Design(
        job=Job(
            name=given_answers.job,
            cluster=given_answers.cluster,
            estate=given_answers.estate,
            owner=given_answers.owner,
            engineer=given_answers.engineer,
        ),
        package=PackageChoice(
            file=given_answers.package, profile=given_answers.profile, size=given_answers.size
        ),
        members=tuple(
            Member.model_validate(
                {"name": f"{given_answers.job}-{n + 1}", "leads": roles[n], "site": given_answers.site}
            )
            for n in range(given_answers.members)
        ),
        apart=("host", "rack", "pool"),
        survive=("any 1 host",),
        names=Names(zone=given_answers.zone),
        networks=tuple(
            Attachment(package=one.package, estate=one.estate, first=one.first, named=number == 0)
            for number, one in enumerate(given_answers.networks)
        ),
    )


@given(answers)
@settings(max_examples=80, deadline=None)
def test_what_is_answered_is_what_is_read_back(given_answers: BeginAnswers) -> None:
    text = starter_text(given_answers)
    assert read_design(text, where="design.yaml").design == described(given_answers)
    # the outside reader sees the same names
    assert [row["name"] for row in yaml.safe_load(text)["members"]] == [
        member.name for member in described(given_answers).members
    ]


def test_every_optional_line_works_once_its_mark_is_removed() -> None:
    first, *rest = starter_text(OUSEMOOR).splitlines()
    text = "\n".join([first, *(re.sub(r"^# ", "", line) for line in rest)])
    design = read_design(text, where="design.yaml").design
    assert design.windows[0].zone == "Europe/London"
    assert design.load.samples_per_second == 2000
    assert design.survive == (
        "any 1 host",
        "any 1 rack",
        "named: rack-a + feed-2",
        "afterwards 2 data members",
        "afterwards members share no host",
        "afterwards others may stay down",
        "afterwards 6 vCPUs a core",
    )
    assert len(design.clock.servers) == 4
    assert design.names.cluster == "log"
    assert design.package.licence_accepted_by == ""  # a mark removed in passing accepts no licence


def test_the_first_line_names_the_schema_as_editors_expect() -> None:
    assert starter_text(OUSEMOOR).splitlines()[0] == f"# yaml-language-server: $schema=./{SCHEMA_FILE}"


def test_there_are_eight_questions_each_with_a_key_of_the_answers() -> None:
    assert [question.key for question in QUESTIONS] == [
        "job",
        "cluster",
        "package",
        "profile",
        "estate",
        "members",
        "zone",
        "networks",
    ]
    assert all(question.sentence.endswith(("?", ".", "…")) for question in QUESTIONS)


def test_a_default_is_an_answer_that_its_own_check_accepts() -> None:
    assert {q.key: q.check(q.default) for q in QUESTIONS if q.default} == {
        "profile": "none",
        "estate": "../estate",
        "members": "3",
    }


@pytest.mark.parametrize(
    ("key", "answer", "message"),
    [
        (
            "job",
            "Ouse_moor",
            'error: "Ouse_moor" cannot be the name of a job\n'
            '  why:   members are named after it, and "ouse_moor" may hold letters, digits and hyphens only, no hyphen'
            " at either end (RFC 1123 §2.1)\n"
            "  try:   use lower-case letters, digits and hyphens, for example ousemoor-log",
        ),
        (
            "job",
            "x" * 61,
            f'error: "{"x" * 61}" cannot be the name of a job\n'
            "  why:   members are named after it, and it has more than 60 characters\n"
            "  try:   use lower-case letters, digits and hyphens, for example ousemoor-log",
        ),
        ("cluster", " ", "error: the cluster's name is empty\n  try:   give the cluster's name"),
        (
            "members",
            "0",
            'error: "0" is not a number of members from 1 to 99\n  try:   3 is usual',
        ),
        ("members", "three", 'error: "three" is not a number of members from 1 to 99\n  try:   3 is usual'),
        (
            "zone",
            "ousemoor_1.example",
            'error: "ousemoor_1.example" is not a host name\n'
            '  why:   "ousemoor_1" may hold letters, digits and hyphens only, no hyphen at either end (RFC 1123 §2.1)\n'
            "  try:   write a name such as sluicelog-1.ousemoor.example",
        ),
        (
            "networks",
            "ous-mgmt",
            'error: "ous-mgmt" does not end with an address\n'
            "  try:   write the estate's network and the first address, for example: ous-mgmt 192.0.2.11",
        ),
        (
            "networks",
            "192.0.2.11",
            'error: "192.0.2.11" does not name a network of the estate\n'
            "  try:   write the estate's network and the first address, for example: ous-mgmt 192.0.2.11",
        ),
    ],
)
def test_a_wrong_answer_is_told_whole(key: str, answer: str, message: str) -> None:
    question = next(q for q in QUESTIONS if q.key == key)
    with pytest.raises(InputRefused) as caught:
        question.check(answer)
    assert str(caught.value) == message


def test_wrong_answers_are_told_together() -> None:
    with pytest.raises(InputRefused) as caught:
        BeginAnswers(
            job="", cluster="", package="p", profile="", estate="e", members=0, zone="z.example", networks=()
        )
    assert [fault.what for fault in caught.value.faults] == [
        '"" cannot be the name of a job',
        "the cluster's name is empty",
        "the profile is empty",
        '"0" is not a number of members from 1 to 99',
        "no network is attached",
    ]


def test_answers_are_kept_as_their_checks_give_them() -> None:
    kept = BeginAnswers(
        job=" Ousemoor-Log ",
        cluster=" c ",
        package="p",
        profile="p",
        estate="e",
        members=1,
        zone="Ousemoor.Example.",
        networks=OUSEMOOR.networks,
    )
    assert (kept.job, kept.cluster, kept.zone) == ("ousemoor-log", "c", "ousemoor.example")


def test_a_network_of_the_estate_may_have_blanks_in_its_name() -> None:
    answer = parse_network_answer("management", "Ousemoor management 2001:db8::11")
    assert answer == NetworkAnswer(package="management", estate="Ousemoor management", first="2001:db8::11")


# Outside: the jsonschema library judges by JSON Schema 2020-12.
def test_the_schema_is_one_and_accepts_what_the_reader_accepts() -> None:
    schema = json.loads(schema_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for text in (GOOD, starter_text(OUSEMOOR)):
        assert [error.message for error in validator.iter_errors(yaml.safe_load(text))] == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("  cluster: O", "  clustr: O"),
        ("leads: second", "leads: secnd"),
        ("  zone: ousemoor.example", "  ttl: 1 h"),
    ],
)
def test_the_schema_refuses_what_an_editor_should_mark(old: str, new: str) -> None:
    validator = jsonschema.Draft202012Validator(json.loads(schema_text()))
    assert not validator.is_valid(yaml.safe_load(GOOD.replace(old, new)))


def test_every_key_of_the_schema_is_described() -> None:
    schema = json.loads(schema_text())
    bare = [
        f"{name}.{key}"
        for name, block in schema["$defs"].items()
        for key, value in block["properties"].items()
        if "description" not in value
    ]
    assert bare == []
    assert {block.get("description") is not None for block in schema["$defs"].values()} == {True}


def test_defaults_of_the_model_are_told_in_the_file() -> None:
    assert f"most_offset: {Clock().most_offset}" in starter_text(OUSEMOOR)


def test_windows_servers_and_change_read_back_as_they_were_given() -> None:
    window = parse_window_answer("2026-12-05 20:00 to 2026-12-06 02:00 Europe/London")
    answered = replace(
        OUSEMOOR,
        change="C-71: #1",
        time_servers=("192.0.2.1", "t.example"),
        name_servers=("192.0.2.53",),
        windows=(window, window),
    )
    design = read_design(starter_text(answered), where="design.yaml").design
    assert design.job.change == "C-71: #1"
    assert (design.clock.servers, design.names.servers) == (("192.0.2.1", "t.example"), ("192.0.2.53",))
    row = Window(opens="2026-12-05 20:00", closes="2026-12-06 02:00", zone="Europe/London")
    assert design.windows == (row, row)


@pytest.mark.parametrize(
    "text", ["", "tomorrow", "2026-12-05 to 2026-12-06 Europe/London", "2026-12-05 20:00 to 2026-12-06 02:00"]
)
def test_what_is_no_window_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(InputRefused, match="is not a window"):
        parse_window_answer(text)
