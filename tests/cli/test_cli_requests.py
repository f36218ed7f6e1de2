"""requests as a process, and its probes against a name server and sockets on loopback."""

import asyncio
import json
import socket
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from staddle.jobs.folder import find_job
from staddle.jobs.requests import Checked, Standing, check_requests, requests_of
from tests.cli.demo_job import TODAY, demo_job, free_block, loopback_job, staddle
from tests.probes.name_server import Records, name_server


@pytest.fixture(scope="module")
def block() -> int:
    return free_block()


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory, block: int) -> Path:
    """The demo's job on loopback addresses, whose name server is on loopback too."""
    folder = loopback_job(tmp_path_factory.mktemp("requests"), block=block, is_open=False)
    design = (folder / "design.yaml").read_text(encoding="utf-8")
    wanted = f"  ttl: 300 s\n  servers: [127.{block}.2.53]\n"
    (folder / "design.yaml").write_text(design.replace("  ttl: 300 s\n", wanted), encoding="utf-8")
    return folder


def records(block: int) -> Records:
    """Everything that the job asks the owner of the zones for."""
    members = {f"levels-{n}.ousemoor.example.": (f"127.{block}.2.{60 + n}",) for n in (1, 2, 3)}
    backwards = {
        (f"{60 + n}.2.{block}.127.in-addr.arpa.", "PTR"): (f"levels-{n}.ousemoor.example.",)
        for n in (1, 2, 3)
    }
    together = tuple(address for (address,) in members.values())
    forward = {(name, "A"): addresses for name, addresses in members.items()}
    return {**forward, **backwards, ("levels.ousemoor.example.", "A"): together}


def checked(job: Path, block: int, table: Records) -> dict[str, Checked]:
    sheet = requests_of(find_job(job), datetime.now(UTC))
    with name_server(table, address=f"127.{block}.2.53") as port:
        rows = asyncio.run(check_requests(sheet, dns_port=port))
    return {one.kind: one for one in rows}


def test_names_that_every_server_has_are_done(job: Path, block: int) -> None:
    seen = checked(job, block, records(block))
    assert seen["names"].standing is Standing.DONE
    assert {one.standing for one in seen["openings"].looks} == {Standing.NOT_CHECKED}
    assert [kind for kind, one in seen.items() if one.standing is Standing.DONE] == ["names"]


@pytest.mark.parametrize("wrong", ["levels-2.ousemoor.example.", "levels.ousemoor.example."])
def test_one_wrong_name_is_not_yet(job: Path, block: int, wrong: str) -> None:
    seen = checked(job, block, {**records(block), (wrong, "A"): (f"127.{block}.2.99",)})["names"]
    assert seen.standing is Standing.NOT_YET
    assert f"127.{block}.2.53: it is 127.{block}.2.99" in {one.why for one in seen.looks}


def test_a_server_that_cannot_tell_is_not_called_done(job: Path, block: int) -> None:
    table = {**records(block), ("levels-2.ousemoor.example.", "A"): ("SERVFAIL",)}
    assert checked(job, block, table)["names"].standing is Standing.NOT_CHECKED


def test_an_address_in_use_outweighs_a_signature(job: Path, block: int) -> None:
    text = f"requests: [{{request: addresses, done: true, by: T. Sedgeley, day: {TODAY}}}]\n"
    (job / "requests.yaml").write_text(text, encoding="utf-8")
    try:
        with socket.create_server((f"127.{block}.2.62", 8443)):
            seen = checked(job, block, records(block))["addresses"]
    finally:
        (job / "requests.yaml").unlink()
    assert seen.standing is Standing.NOT_YET
    assert f"127.{block}.2.62 is in use: something answered, or refused" in {one.why for one in seen.looks}


def test_the_command_writes_four_sheets_and_takes_away_dates_that_are_no_more(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    done = staddle("requests", job=job)
    assert done.returncode == 0, done.stderr
    assert "11 requests, " in done.stdout
    sheets = job / "sheets"
    assert {path.name for path in sheets.iterdir()} == {
        f"requests.{end}" for end in ("txt", "csv", "html", "ics")
    }
    assert (sheets / "requests.csv").read_bytes().count(b"\r\n") == 12
    design = (job / "design.yaml").read_text(encoding="utf-8")
    (job / "design.yaml").write_text(design.partition("windows:")[0], encoding="utf-8")
    done = staddle("requests", job=job)
    assert "the design has no window, so nothing has a date" in done.stdout
    assert not (sheets / "requests.ics").exists()


def check_as_process(job: Path) -> tuple[int, dict[str, Any], str]:
    done = staddle("requests", "--check", "--json", job=job)
    return done.returncode, json.loads(done.stdout), done.stderr


def test_check_as_a_process_ends_with_one_until_what_is_due_is_signed(job: Path, block: int) -> None:
    # Nothing listens on port 53 of that address, so names stay unchecked; their date has not come.
    code, told, talk = check_as_process(job)
    assert (code, told["outcome"]) == (1, "due and not done")
    assert f"levels-1.ousemoor.example is 127.{block}.2.61 (ask 127.{block}.2.53)" in talk
    assert not (job / "sheets").exists()
    due = [one["kind"] for one in told["data"]["checked"] if one["is_open"]]
    assert "licence" in due
    assert "done" not in {one["standing"] for one in told["data"]["checked"]}
    # On loopback a free address refuses, as a machine in use does: only what is not due may stand open here.
    rows = "".join(
        f"  - {{request: {kind}, done: true, by: T. Sedgeley, day: {TODAY}}}\n" for kind in due
    ) + "".join(
        f"  - {{request: {kind}, lead_days: 0}}\n" for kind in ("addresses", "names") if kind not in due
    )
    (job / "requests.yaml").write_text("requests:\n" + rows, encoding="utf-8")
    try:
        code, told, _ = check_as_process(job)
    finally:
        (job / "requests.yaml").unlink()
    assert (code, told["outcome"]) == (0, "nothing due is open")
    assert {one["standing"] for one in told["data"]["checked"] if one["kind"] in due} == {"signed"}


def test_a_bad_file_of_requests_is_told_with_its_place(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    (job / "requests.yaml").write_text("requests:\n  - {request: name}\n", encoding="utf-8")
    done = staddle("requests", job=job)
    assert (done.returncode, done.stdout) == (1, "")
    assert "requests.yaml:2:" in done.stderr
    assert not (job / "sheets").exists()
