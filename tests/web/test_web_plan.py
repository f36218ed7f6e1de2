"""The sheet plan as a document: what a failure takes by the tables, what a move breaks or costs, settling, a search at work."""

import asyncio
import csv
import json
import threading
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from staddle.jobs.folder import JobFolder
from staddle.kernel import SystemClock, SystemRandom
from staddle.placement.model import NotFoundInTime
from staddle.web.placing import Searching
from staddle.web.serving import get_once
from staddle.web.workplace import Workplace
from tests.cli.demo_job import demo_job, settle, staddle
from tests.web.served import Server, served

pytestmark = pytest.mark.xdist_group("web-plan")


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = demo_job(tmp_path_factory.mktemp("plan"))
    settle(folder)
    return folder


def plan(job: Path, **query: str) -> dict[str, Any]:
    path = f"/plan.json?{urlencode(query)}"
    reply = get_once(JobFolder(root=job), path, clock=SystemClock(), random=SystemRandom(), actor="W. Marram")
    told = json.loads(reply.body)
    assert reply.status == 200, told
    found: dict[str, Any] = told["data"]
    return found


def refused(job: Path, **query: str) -> str:
    path = f"/plan.json?{urlencode(query)}"
    reply = get_once(JobFolder(root=job), path, clock=SystemClock(), random=SystemRandom(), actor="W. Marram")
    assert reply.status in (409, 422)
    return " ".join(fault["what"] for fault in json.loads(reply.body)["data"]["faults"])


def table(job: Path, name: str) -> list[dict[str, str]]:
    with (job.parent / "estate" / f"{name}.csv").open(encoding="utf-8", newline="") as rows:
        return list(csv.DictReader(rows))


def test_a_failed_rack_takes_what_its_tables_say(job: Path) -> None:
    # By the tables: rack OM-R1 holds om-h01 to om-h03 and, in its array, om-store-1.
    hosts = {row["name"] for row in table(job, "hosts") if row["domains"].startswith("OM-R1;")}
    assert hosts == {"om-h01", "om-h02", "om-h03"}
    guests = table(job, "guests")
    lost = [g for g in guests if g["pool"] == "om-store-1"]
    displaced = [g for g in guests if g["host"] in hosts and g["pool"] != "om-store-1"]
    data = plan(job, fail="OM-R1")
    one = data["failure"]["judgement"]
    assert (one["guests_lost"], one["guests_restarted"]) == (len(lost), len(displaced))
    assert one["members_lost"] == ["levels-1"]  # settled on om-h01 with its disks in om-store-1
    assert one["at_once"] == "degraded"  # two of three members serve: docs/survive.md
    shown = {row["machine"]: row["from_host"] for row in data["failure"]["restarts"]}
    assert len(shown) == len(displaced) - data["failure"]["more_restarts"]
    assert shown.items() <= {(g["name"], g["host"]) for g in guests} | set()
    gone = {row["name"] for kind, rows in data["legend"] for row in rows if row["along"]}
    assert gone == {"OM-array-1", "om-store-1"}


def test_what_the_command_says_the_sheet_says(job: Path) -> None:
    told = json.loads(staddle("survive", "--fail", "om-h04,OM-feed-A", "--json", job=job).stdout)["data"]
    data = plan(job, fail="om-h04,OM-feed-A")
    assert data["failure"]["judgement"] == told["judgement"]
    told = json.loads(staddle("survive", "--evacuate", "om-h01", "--json", job=job).stdout)["data"]
    assert plan(job, empty="om-h01")["evacuation"]["evacuation"] == told["evacuation"]


def test_a_click_adds_a_failure_and_a_second_one_takes_it_away(job: Path) -> None:
    rows = {row["name"]: row for _, rows in plan(job, fail="OM-R1")["legend"] for row in rows}
    assert rows["OM-R1"]["failed"]
    assert rows["OM-R1"]["address"] == "/plan"
    assert rows["om-store-2"]["address"] == "/plan?fail=OM-R1%2Com-store-2"
    assert rows["Fennick's Lode"]["address"] == "/plan?fail=OM-R1%2CFennick%27s%20Lode"


@pytest.mark.parametrize(
    ("query", "what"),
    [
        ({"fail": "nothing"}, '"nothing" is no host, pool or domain'),
        ({"open": "nothing"}, 'there is no rack "nothing"'),
        ({"member": "levels-9", "host": "nothing"}, 'there is no member "levels-9"'),
        ({"empty": "nothing"}, "nothing"),
    ],
)
def test_what_is_not_there_is_refused(job: Path, query: dict[str, str], what: str) -> None:
    assert what in refused(job, **query)


@pytest.mark.parametrize(
    ("member", "host", "breaks"),
    [
        ("levels-1", "om-h02", "memory: 8 GiB of memory left, needed are 16 GiB"),
        ("levels-1", "om-h05", "networks: it lacks network om-telemetry"),
        ("levels-1", "om-h04", "apart:host: it would share host om-h04 with levels-2"),
        ("levels-1", "tg-h01", "site: it is not at site Ousemoor"),
    ],
)
def test_a_move_that_breaks_a_rule_names_it_and_moves_nothing(
    job: Path, member: str, host: str, breaks: str
) -> None:
    data = plan(job, member=member, host=host)
    assert data["move"]["report"]["breaks"] == [breaks]
    assert not data["move"]["allowed"]
    assert not data["may_settle"]
    assert {row["member"]: row["host"] for row in data["members"]}[member] != host


def test_a_move_that_is_possible_tells_its_price_and_what_would_fail_then(job: Path) -> None:
    data = plan(job, member="levels-3", host="om-h08", fail="om-h08")
    report = data["move"]["report"]
    assert (report["breaks"], report["stays"]) == ([], False)
    assert report["text"] == "moving 1 of what is settled rather than 0"
    assert data["failure"]["judgement"]["members_displaced"] == ["levels-3"]
    assert (data["outcome"], data["may_settle"]) == ("chosen", True)


def test_the_others_may_be_asked_to_move_along(job: Path) -> None:
    # levels-2 stands on om-h04: with levels-1 there, levels-2 has to go, which the others staying does not allow.
    data = plan(job, member="levels-1", host="om-h04", along="yes")
    assert data["move"]["along_kind"] == "Costs"
    moves = {member: after for member, _, after in data["move"]["along_moves"]}
    assert moves["levels-1"] == "om-h04"
    assert moves["levels-2"] != "om-h04"
    assert data["may_settle"]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    with served(demo_job(tmp_path)) as running:
        yield running


def found(server: Server, query: str = "") -> dict[str, Any]:
    """The plan once its search has ended."""
    until = time.monotonic() + 180
    while True:
        data: dict[str, Any] = json.loads(server.get(f"/plan.json{query}").body)["data"]
        if data["searching"] is None:
            return data
        assert time.monotonic() < until, data["searching"]


def test_settling_on_the_page_writes_what_the_command_writes(server: Server, tmp_path: Path) -> None:
    job = tmp_path / "levels"
    data = found(server)
    assert (data["outcome"], data["basis"]["placement"], data["may_settle"]) == (
        "best shown",
        "found, not settled",
        True,
    )
    refusal = server.post("/plan/settle", {"digest": data["digest"], "by": ""})
    assert refusal.status == 422
    stale = server.post("/plan/settle", {"digest": "0" * 16, "by": "R. Fenwold"})
    assert stale.status == 409
    assert "not the one that was shown" in stale.body
    assert not (job / "placement.yaml").exists()
    foreign = server.post(
        "/plan/settle", {"digest": data["digest"], "by": "x"}, Origin="http://elsewhere.example"
    )
    assert foreign.status == 403
    done = server.post("/plan/settle", {"digest": data["digest"], "by": "R. Fenwold"})
    assert (done.status, done.headers["location"]) == (303, "/plan?settled=yes")
    page = (job / "placement.yaml").read_text(encoding="utf-8")
    (job / "placement.yaml").unlink()
    assert staddle("place", "--settle", "--yes", job=job).returncode == 0
    assert (job / "placement.yaml").read_text(encoding="utf-8") == page


def test_a_moved_member_is_settled_and_then_kept(server: Server, tmp_path: Path) -> None:
    job = tmp_path / "levels"
    settle(job)
    data = found(server, "?member=levels-3&host=om-h08")
    form = {"member": "levels-3", "host": "om-h08", "digest": data["digest"], "by": "R. Fenwold"}
    assert server.post("/plan/settle", form).status == 303
    told = json.loads(staddle("place", "--json", job=job).stdout)
    assert told["outcome"] == "kept"
    seats = {seat["member"]: seat["host"] for seat in told["data"]["found"]["placement"]["seats"]}
    assert seats["levels-3"] == "om-h08"
    after = found(server)
    assert after["outcome"] == "kept"
    assert "om-h08" in after["sentence"]


def test_nothing_is_settled_on_a_survey_that_is_too_old(server: Server, tmp_path: Path) -> None:
    job = tmp_path / "levels"
    survey = job.parent / "estate" / "survey.yaml"
    text = survey.read_text(encoding="utf-8")
    data = found(server)
    day = text.split("surveyed: ")[1].split("\n")[0]
    survey.write_text(text.replace(day, "2025-01-01"), encoding="utf-8")
    data = found(server)
    assert [one["rule"] for one in data["findings"]] == ["survey-old"]
    answer = server.post("/plan/settle", {"digest": data["digest"], "by": "R. Fenwold"})
    assert answer.status == 409
    assert not (job / "placement.yaml").exists()


def test_a_change_of_the_estate_is_seen_at_the_next_look(server: Server, tmp_path: Path) -> None:
    job = tmp_path / "levels"
    settle(job)
    assert found(server)["outcome"] == "kept"
    hosts = job.parent / "estate" / "hosts.csv"
    text = hosts.read_text(encoding="utf-8")
    first = next(line for line in text.splitlines() if line.startswith("om-h01,"))
    hosts.write_text(text.replace(first, first.replace("384 GiB", "288 GiB")), encoding="utf-8")
    data = found(server)
    assert data["outcome"] != "kept"  # too little is left on om-h01 for levels-1
    assert "om-h01" not in data["sentence"]


class Waiting:
    """A search that is held where the test wants it."""

    def __init__(self, root: Path) -> None:
        self.place = Workplace(
            folder=JobFolder(root=root),
            clock=SystemClock(),
            random=SystemRandom(),
            actor="W. Marram",
            patience_s=0.0,
        )


def test_a_page_does_not_wait_for_a_long_search_and_can_end_it(tmp_path: Path) -> None:
    place = Waiting(demo_job(tmp_path)).place
    first = place.placing.look()
    assert isinstance(first, Searching)  # told at once, with nothing found yet
    version = place.desk.version
    place.placing.stop()
    until = time.monotonic() + 180
    while isinstance(place.placing.look(), Searching):
        version = asyncio.run(place.desk.wait_beyond(version, timeout_s=1.0))
        assert time.monotonic() < until
    plan = place.placing.look()
    assert not isinstance(plan, Searching)
    assert len(plan.ground.seats) == 3


def test_two_lookers_share_one_search(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    settle(job)
    place = Waiting(job).place
    place.placing.patience_s = 600.0  # type: ignore[misc]
    plans: list[object] = []
    lookers = [threading.Thread(target=lambda: plans.append(place.placing.look())) for _ in range(4)]
    for one in lookers:
        one.start()
    for one in lookers:
        one.join()
    assert len({id(plan) for plan in plans}) == 1


class Hasty(SystemClock):
    """A clock on which two minutes pass between the begin of a search and the first that it says."""

    asked = 0

    def now(self) -> datetime:
        self.asked += 1
        return super().now() + (timedelta(minutes=2) if self.asked > 3 else timedelta())


def test_a_search_ends_at_its_minute_and_says_that_it_found_nothing(tmp_path: Path) -> None:
    place = Workplace(
        folder=JobFolder(root=demo_job(tmp_path)),
        clock=Hasty(),
        random=SystemRandom(),
        actor="W. Marram",
        patience_s=600.0,
    )
    plan = place.placing.look()
    assert not isinstance(plan, Searching)
    outcome = plan.ground.placed.outcome
    assert isinstance(outcome, NotFoundInTime)  # never called impossible
    assert outcome.limit == "the time given"
