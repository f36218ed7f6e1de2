"""Reading a design: every fault at once, its whole message, its place; and how long a large file takes."""

import sys
import time
from typing import Literal

import pytest
from pydantic import BaseModel, ConfigDict

from staddle.design.model import Attachment, Design, Job, Member, Names, PackageChoice
from staddle.design.places import parse_path, path_text
from staddle.design.reader import read_design, read_model, read_rows
from staddle.kernel import InputRefused, OurFault
from tests.design.bad_designs import BAD, GOOD


def refusal(text: str) -> InputRefused:
    with pytest.raises(InputRefused) as caught:
        read_design(text, where="design.yaml")
    return caught.value


def test_a_design_reads_as_it_is_written() -> None:
    assert read_design(GOOD, where="design.yaml").design == Design(
        job=Job(name="ousemoor-log", cluster="Ousemoor water levels", estate="../estate"),
        package=PackageChoice(file="sluicelog.ova", profile="sluicelog"),
        members=(
            Member(name="log-1", leads="first"),
            Member(name="log-2", leads="second"),
            Member(name="log-3"),
        ),
        names=Names(zone="ousemoor.example"),
        networks=(Attachment(package="management", estate="ous-mgmt", first="192.0.2.11"),),
    )


@pytest.mark.parametrize(("old", "new", "message"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_a_fault_is_told_whole(old: str, new: str, message: str) -> None:
    assert GOOD.count(old) == 1
    assert str(refusal(GOOD.replace(old, new))) == message


def test_every_fault_is_told_at_once_in_the_order_of_the_file() -> None:
    text = GOOD
    for old, new in (
        ("  name: ousemoor-log", "  name: Ousemoor_log\n  nam: x"),  # a form, an unknown key
        ("leads: second", "leads: no\n    votes: yes"),  # two spellings
        (
            "  - name: log-3",
            "  - name: log-1\n  - name: log-1",
        ),  # names given twice, beside rows that are wrong
        ("zone: ousemoor.example", "ttl: 5 m"),  # a missing key, a unit
        ("192.0.2.11", "192.0.2"),  # an address
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    assert [(fault.where, fault.what[:40]) for fault in refusal(text).faults] == [
        ("design.yaml:2:9", 'job.name = "Ousemoor_log": lower-case le'),
        ("design.yaml:3:3", 'unknown key "nam" in job'),
        ("design.yaml:13:12", "unquoted no means a truth value to some "),
        ("design.yaml:14:12", "unquoted yes means a truth value to some"),
        ("design.yaml:15:11", 'the member "log-1" stands twice'),
        ("design.yaml:16:11", 'the member "log-1" stands twice'),
        ("design.yaml:18:3", "names.zone is missing"),
        ("design.yaml:18:8", 'names.ttl: "5 m" is not a duration'),
        ("design.yaml:22:12", '"192.0.2" is not an address'),
    ]


def test_both_kinds_of_address_may_be_attached_and_named() -> None:
    text = (
        GOOD
        + '    named: true\n  - {package: management, estate: ous-six, first: "2001:db8::11", named: true}\n'
    )
    assert [one.estate for one in read_design(text, where="d").design.networks] == ["ous-mgmt", "ous-six"]


def test_a_place_is_file_line_and_column_from_one() -> None:
    places = read_design(GOOD, where="design.yaml").places
    lines = GOOD.splitlines()
    for path, written in (
        ("job.cluster", "Ousemoor water levels"),
        ("members[1].name", "log-2"),
        ("members[1].leads", "second"),
        ("networks[0].first", "192.0.2.11"),
    ):
        file, line, column = places.find(path).split(":")
        assert file == "design.yaml"
        assert lines[int(line) - 1][int(column) - 1 :] == written


def test_the_place_of_a_default_is_the_row_that_would_hold_it() -> None:
    places = read_design(GOOD, where="d").places
    assert places.find("members[1].votes") == places.find("members[1]") == "d:11:5"
    assert places.find("load.retention") == places.find("") == "d:1:1"
    assert places.holds("members[1].name")
    assert not places.holds("members[1].votes")


def test_places_hold_for_rows_written_in_one_line_and_for_letters_beyond_ascii() -> None:
    text = GOOD.replace("cluster: Ousemoor", "cluster: Öusemøør").replace(
        "  - name: log-3", "  - {name: log-3, keep_out: [höst-1, host-2], votes: false}"
    )
    read = read_design(text, where="d")
    line = next(n for n, line in enumerate(text.splitlines(), 1) if "höst-1" in line)
    column = text.splitlines()[line - 1].index("host-2") + 1
    assert read.places.find("members[2].keep_out[1]") == f"d:{line}:{column}"


def test_windows_line_ends_do_not_move_places() -> None:
    assert read_design(GOOD.replace("\n", "\r\n"), where="d").places.find("names.zone") == "d:15:9"


@pytest.mark.parametrize("text", ["", "job", "members[1].name", "a.b[0][12].c"])
def test_a_path_reads_back(text: str) -> None:
    assert path_text(parse_path(text)) == text


@pytest.mark.parametrize("text", ["[x]", "a[", "a..b", "[1"])
def test_a_bad_path_is_a_bug_of_ours(text: str) -> None:
    with pytest.raises(OurFault, match="is not a path such as"):
        parse_path(text)


class _Tap(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
    kind: Literal["tap"]
    opening: int | str


class _Pipe(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
    parts: dict[str, tuple[_Tap, ...]]


def test_any_model_is_read_with_the_same_care() -> None:
    with pytest.raises(InputRefused) as caught:
        read_model(
            "parts:\n  left:\n    - {kind: tap, opening: 1.5}\n    - {knd: tap, opening: 1}\n",
            _Pipe,
            where="p",
        )
    assert str(caught.value) == (
        "error: parts.left[0].opening = 1.5 is a number; a whole number or text is expected\n"
        "  where: p:3:28\n"
        "  try:   write what is expected\n\n"
        "error: parts.left[1].kind is missing\n"
        "  where: p:4:7\n"
        '  try:   add a line "kind: …"\n\n'
        'error: unknown key "knd" in parts.left[1]\n'
        "  where: p:4:8\n"
        "  why:   the keys here are kind, opening\n"
        '  try:   did you mean "kind"?'
    )


def test_rows_may_be_none_at_all() -> None:
    assert read_rows("# nothing yet\n", _Tap, where="t").value == ()
    assert read_rows("- {kind: tap, opening: wide}\n", _Tap, where="t").value == (
        _Tap(kind="tap", opening="wide"),
    )


def test_a_file_of_20_000_lines_is_read_in_a_few_seconds(capsys: pytest.CaptureFixture[str]) -> None:
    rows = "".join(
        f"  - name: log-{n}\n    leads: {'first' if n == 0 else 'never'}\n    keep_out:\n      - host-{n}\n"
        for n in range(5000)
    )
    head, rest = GOOD.split("members:\n")
    text = head + "members:\n" + rows + rest[rest.index("names:") :]
    started = time.perf_counter()
    read = read_design(text, where="d")
    seconds = time.perf_counter() - started
    with capsys.disabled():
        sys.stdout.write(f"\n{text.count(chr(10))} lines of design.yaml read in {seconds:.2f} s\n")
    assert len(read.design.members) == 5000
    assert read.places.find("members[4999].keep_out[0]") == "d:20008:9"
    assert seconds < 10  # 0.6 s on two cores; ten seconds would mean that the time grows with the square
