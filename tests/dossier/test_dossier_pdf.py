"""The PDF, read back by poppler: every section, every digest in full, text that stays text, sheets that are numbered."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from itertools import combinations
from pathlib import Path

import pytest
from lxml import etree

from staddle.dossier.blocks import Table
from staddle.dossier.contents import contents
from staddle.dossier.model import (
    AnswerSheet,
    JobFacts,
    LimitLine,
    LimitsRecord,
    Report,
    RequestLine,
    RequestsRecord,
    SheetSection,
    Work,
)
from staddle.dossier.pdf import pdf_bytes
from tests.dossier.reports import AT, NAMES, bad_proof, digest, fingerprint, journal, report

XHTML = "{http://www.w3.org/1999/xhtml}"


@pytest.fixture(scope="module")
def poppler() -> str:
    found = shutil.which("pdftotext")
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail("pdftotext is missing, and with CI=true nothing may be skipped")
        pytest.skip('pdftotext is missing; install it with "apt-get install poppler-utils"')
    return found


def _pages(pdf: bytes, poppler: str) -> list[str]:
    read = subprocess.run([poppler, "-layout", "-", "-"], input=pdf, capture_output=True, check=True)
    return read.stdout.decode().split("\f")[:-1]


def _flat(text: str) -> str:
    return re.sub(r"\s+", " ", text.replace("\u200b", ""))


def _words(pdf: bytes, poppler: str) -> Iterator[tuple[int, str, tuple[float, ...], tuple[float, ...]]]:
    """(page, word, (left, top, right, bottom), (width, height) of the page) of every word, in points."""
    read = subprocess.run([poppler, "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    root = etree.fromstring(read.stdout, etree.XMLParser(recover=True))
    for number, page in enumerate(root.iter(f"{XHTML}page"), 1):
        sheet = tuple(float(page.attrib[k]) for k in ("width", "height"))
        for word in page.iter(f"{XHTML}word"):
            place = tuple(float(word.attrib[k]) for k in ("xMin", "yMin", "xMax", "yMax"))
            yield number, word.text or "", place, sheet


def test_every_section_stands_on_a_sheet_and_every_sheet_is_numbered(poppler: str) -> None:
    pages = _pages(pdf_bytes(report()), poppler)
    whole = "\n".join(pages)
    for number, section in enumerate(contents(report()), 1):
        assert re.search(rf"^\s*{number}\s+{section.title}$", whole, re.MULTILINE), section.title
    for number, page in enumerate(pages, 1):
        assert f"{number} of {len(pages)}" in page
        assert "CHG-2026-117" in page
        assert "2026-12-05" in page


def test_the_first_sheet_is_the_summary(poppler: str) -> None:
    first = _flat(_pages(pdf_bytes(report()), poppler)[0])
    for told in (
        "The cluster stands: three members are in",
        "Sluicelog 4.2.0, by Reedmere Instruments",
        "on host om-h03",
        "the first rack hangs on one feed",
        "good at 2026-12-05 20:41:07 UTC: all 3 checks, 3 rounds in a row agreed",
        "15 days before this record",
        "1 rule could not be looked at",
        "Keep a tested backup before any change.",
    ):
        assert told in first


def test_every_digest_is_there_in_one_piece(poppler: str) -> None:
    text = "\n".join(_pages(pdf_bytes(report()), poppler))
    for what in ("ova", "ovf", "system", "design", "estate", "profile", "root"):
        assert digest(what) in text, what
    for what in (*NAMES, "10", "12"):  # the last evidence of their steps
        assert fingerprint(what) in text, what


def test_three_hundred_steps_break_cleanly_and_the_head_is_repeated(poppler: str) -> None:
    made = journal(300)
    lines = tuple(replace(line, step=f"{line.step}, step {line.seq}") for line in made.lines)
    pages = _pages(pdf_bytes(replace(report(), journal=replace(made, lines=lines))), poppler)
    sheets = [page for page in pages if "confirm the fingerprint" in page]
    assert len(sheets) > 5
    told = []
    for page in sheets:
        assert re.search(r"begun\s+last\s+step\s+came to\s+tries\s+actor", page)
        rows = [int(n) for n in re.findall(r"^\s*2026-12-05 .*, step (\d+)", page, re.MULTILINE)]
        told += rows
        # A step never stands on another sheet than its evidence.
        assert len([n for n in rows if n % 2 == 0]) == len(re.findall(r"evidence\s+fingerprint\s", page))
    assert told == list(range(1, 301))


def test_entries_of_one_step_have_one_line_with_what_went_wrong_on_the_way(poppler: str) -> None:
    first = journal(1).lines[0]
    events = ("started", "refused", "started", "outcome not known", "started", "seen done")
    lines = tuple(
        replace(first, seq=number, event=event, at=AT + timedelta(minutes=number))
        for number, event in enumerate(events)
    )
    made = replace(report(), journal=replace(journal(1), lines=lines))
    (section,) = [one for one in contents(made) if one.title == "Journal"]
    (table,) = [block for block in section.blocks if isinstance(block, Table)]
    (row,) = table.rows
    assert row.cells == (
        "2026-12-05 20:41:07",
        "20:46:07",
        "log-2: confirm the fingerprint",
        "seen done, before that 2 times refused, outcome not known",
        "3",
        "M. Fenwright",
    )
    assert "records/ousemoor-levels-1/journal.jsonl" in _flat("".join(_pages(pdf_bytes(made), poppler)))


def test_the_board_finds_everything_on_one_sheet(poppler: str) -> None:
    made = replace(
        report(),
        work=Work(
            tasks=("book the room", "create the machine"),
            windows=("2026-12-05 20:00 to 2026-12-06 02:00 Europe/London",),
            fixed=(("seal", "from here on the cluster is in service"),),
        ),
    )
    pages = _pages(pdf_bytes(made), poppler)
    first = _flat(pages[0])
    for told in (
        "book the room; create the machine",
        "2026-12-05 20:00 to 2026-12-06 02:00 Europe/London",
        "M. Fenwright, for Water levels",
        "CHG-2026-117",
        "not: seal from here on the cluster is in service",
        "1 finding waived (by A. Tollemere until 2027-01-31)",
        "decided: go, not, later",
        "signature",
    ):
        assert told in first
    assert "2 Package and digests" in _flat(pages[1])


def test_requests_and_limits_are_there_and_their_absence_is_told(poppler: str) -> None:
    bare = _flat("".join(_pages(pdf_bytes(report()), poppler)))
    assert "Nobody has written down what the maker supports" in bare
    assert "No requests sheet could be made" in bare
    line = RequestLine(
        title="Licence keys",
        owner="contracts office",
        lead_days=15,
        standing="ask by Mon 2026-11-16   LATE",
        is_late=True,
        shown_by=("signed by a person: the keys are there", "b", "c"),
    )
    limit = LimitLine(what="members-most", value="9", applies_to="all", paper="planning guide, 2026-09-14")
    made = replace(
        report(),
        requests=RequestsRecord(counted="Due dates are the last day to ask.", lines=(line,)),
        limits=LimitsRecord(lines=(limit,), unknown=("system-type",)),
        drifted=("design",),
    )
    text = _flat("".join(_pages(pdf_bytes(made), poppler)))
    for told in (
        "contracts office 15 ask by Mon 2026-11-16 LATE",
        "signed by a person: the keys are there; b; and 1 more",
        "members-most 9 all planning guide, 2026-09-14",
        "system-type",
        "Changed since the rollout pinned its inputs: design.",
    ):
        assert told in text


@pytest.mark.parametrize("entries", [12, 300])
def test_no_two_words_overlap_on_any_sheet(poppler: str, entries: int) -> None:
    # Poppler measures the glyphs of the finished file: independent of how the drawings compute their widths.
    by_page: dict[int, list[tuple[str, tuple[float, ...]]]] = {}
    for page, word, place, _ in _words(pdf_bytes(report(entries=entries)), poppler):
        by_page.setdefault(page, []).append((word, place))
    touching = [
        (page, a, b)
        for page, words in by_page.items()
        for (a, p), (b, q) in combinations(words, 2)
        # A box spans ascent to descent of its face, more than the ink: lines may share two points of it.
        if min(p[2], q[2]) - max(p[0], q[0]) > 0.5 and min(p[3], q[3]) - max(p[1], q[1]) > 2
    ]
    assert touching == []


@pytest.mark.parametrize("long", ["ousemoor-levels-" * 25, "W" * 400, "levels " * 60 + "end"])
def test_nothing_leaves_the_frame_however_long_the_names(poppler: str, long: str) -> None:
    names = tuple(f"{'log' * 21}-{n}" for n in range(3))
    made = replace(
        report(names),
        job=JobFacts(job=long, cluster=long, owner=long, engineer=long, change=long),
        status=long,
        revision=long,
        kept=(replace(report().kept[0], rule=long, what=long, mend=long, where=long),),
        journal=replace(
            journal(3), lines=tuple(replace(line, step=long, actor=long) for line in journal(3).lines)
        ),
        sheets=(
            AnswerSheet(title=long, sections=(SheetSection(title=long, rows=((long, long),)),)),
            *report().sheets,
        ),
    )
    pdf = pdf_bytes(made)
    pages = _pages(pdf, poppler)
    assert long.replace(" ", "") in _flat("".join(pages)).replace(" ", "")
    for page, word, (left, top, right, bottom), (across, high) in _words(pdf, poppler):
        # ISO 5457: 20 mm on the left, 10 mm elsewhere; 2.8346 points a millimetre.
        assert left >= 20 * 2.8346 - 0.5, (page, word)
        assert right <= across - 10 * 2.8346 + 0.5, (page, word)
        assert top >= 10 * 2.8346 - 0.5, (page, word)
        assert bottom <= high - 10 * 2.8346 + 0.5, (page, word)


EVIL = (
    '#read("/etc/passwd")',
    "#set page(fill: red)",
    "$x^2$",
    "= heading",
    "*bold* _it_ `raw`",
    "<script>alert(1)</script>",
    "]#panic()[",
    "\\u{41} \\",
    "@ref <label>",
    "// comment",
    "/* comment",
)


@pytest.mark.parametrize("evil", EVIL)
def test_markup_in_any_text_stays_text(poppler: str, evil: str) -> None:
    made = report()
    assert made.journal is not None
    line = replace(made.journal.lines[0], step=evil, event=evil, actor=evil, evidence=((evil, evil),))
    made = replace(
        made,
        status=evil,
        job=replace(made.job, cluster=evil, owner=evil),
        kept=(replace(made.kept[0], what=evil, mend=evil, where=evil),),
        journal=replace(made.journal, lines=(line,)),
    )
    pages = _pages(pdf_bytes(made), poppler)
    assert evil in _flat(pages[0])
    assert _flat("".join(pages)).count(evil) >= 10


def test_the_same_report_gives_the_same_bytes_in_another_process_and_place() -> None:
    # Another hash seed, time zone and language; microseconds and zone of made_at do not matter either.
    code = (
        "import hashlib;from tests.dossier.reports import report;from staddle.dossier.pdf import pdf_bytes;"
        "print(hashlib.sha256(pdf_bytes(report())).hexdigest())"
    )
    root = Path(__file__).parents[2]
    other = subprocess.run(
        [sys.executable, "-c", code],
        cwd=root,
        env=os.environ
        | {"PYTHONHASHSEED": "7", "TZ": "Asia/Kathmandu", "LC_ALL": "C", "PYTHONPATH": f"{root}/src:{root}"},
        capture_output=True,
        check=True,
        text=True,
    )
    assert other.stdout.strip() == sha256(pdf_bytes(report())).hexdigest()


def test_another_time_of_making_gives_other_bytes() -> None:
    assert pdf_bytes(report()) != pdf_bytes(replace(report(), made_at=AT + timedelta(seconds=1)))


def test_the_files_own_facts_are_the_reports(poppler: str) -> None:
    information = subprocess.run(
        [str(Path(poppler).with_name("pdfinfo")), "-isodates", "-"],
        input=pdf_bytes(report()),
        capture_output=True,
        check=True,
    ).stdout.decode()
    assert re.search(r"^Title:\s+Record of Ousemoor levels, revision A$", information, re.MULTILINE)
    assert re.search(r"^Tagged:\s+yes$", information, re.MULTILINE)
    assert re.search(r"^CreationDate:\s+2026-12-05T20:41:07", information, re.MULTILINE)


def test_every_font_is_in_the_file(poppler: str) -> None:
    fonts = subprocess.run(
        [str(Path(poppler).with_name("pdffonts")), "-"],
        input=pdf_bytes(report()),
        capture_output=True,
        check=True,
    ).stdout.decode()
    rows = fonts.splitlines()[2:]
    assert rows
    assert all(re.search(r"(LibertinusSerif|DejaVuSansMono)", row) and " yes " in row for row in rows)


def test_characters_that_no_font_of_the_file_holds_are_told_by_number(poppler: str) -> None:
    made = replace(report(), surveyed_by="水門 Łęcka")
    text = _flat("".join(_pages(pdf_bytes(made), poppler)))
    assert "by [U+6C34][U+9580] Łęcka" in text
    assert "written here as their Unicode number" in text
    assert "written here as their Unicode number" not in _flat("".join(_pages(pdf_bytes(report()), poppler)))


def test_a_report_of_which_nothing_has_happened_yet_says_so(poppler: str) -> None:
    made = Report(
        job=JobFacts(job="levels", cluster="Ousemoor levels"),
        revision="A",
        made_at=AT,
        status="Nothing has been carried out.",
        package=replace(report().package, files=(), sizes=(), licence_accepted_by=""),
    )
    text = _flat("".join(_pages(pdf_bytes(made), poppler)))
    for told in (
        "nothing has been proven",
        "No placement has been settled.",
        "No answer sheet was made.",
        "No finding stands.",
        "NOT accepted",
        "No rollout has pinned its inputs yet.",
    ):
        assert told in text


def test_a_failed_proof_leads_with_the_failure(poppler: str) -> None:
    text = _flat("".join(_pages(pdf_bytes(replace(report(), proof=bad_proof())), poppler)))
    assert "NOT good at 2026-12-05 20:41:07 UTC: 1 of 4 checks failed" in text
    assert text.index("FAILED hears log-3") < text.index("certificate as in the journal")
