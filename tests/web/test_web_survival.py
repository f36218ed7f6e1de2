"""The sheet survival says what the commands say, in the order of badness, and leads from every row to the plan with it."""

import json
from pathlib import Path
from typing import Any

import pytest

from staddle.jobs.folder import JobFolder
from staddle.kernel import SystemClock, SystemRandom
from staddle.web.serving import Reply, get_once
from tests.cli.demo_job import demo_job, settle, staddle

pytestmark = pytest.mark.xdist_group("web-survival")


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = demo_job(tmp_path_factory.mktemp("survival"))
    settle(folder)
    return folder


def get(job: Path, path: str) -> Reply:
    return get_once(JobFolder(root=job), path, clock=SystemClock(), random=SystemRandom(), actor="W. Marram")


def survival(job: Path, query: str = "") -> dict[str, Any]:
    reply = get(job, f"/survival.json{query}")
    told = json.loads(reply.body)
    assert reply.status == 200, told
    found: dict[str, Any] = told["data"]
    return found


def test_failures_are_those_of_the_command_worst_first(job: Path) -> None:
    table = json.loads(staddle("survive", "--json", job=job).stdout)["data"]["table"]
    data = survival(job)
    names = [one["scenario"]["name"] for one in table["singles"]]
    assert [row["name"] for row in data["shown"]] == names[: len(data["shown"])]
    assert data["count"] == len(names)
    assert data["doubles"] == table["doubles"]
    assert [(row["sentence"], row["judged"].split()[0]) for row in data["asked"]] == [
        (row["sentence"], str(row["judged"])) for row in table["asked"]
    ]
    assert {row["holds"] for row in data["asked"]} == {
        "not outlived" if row["failing"] else "outlived" for row in table["asked"]
    }
    # The site of all three members, and no other single failure, takes the cluster down (docs/demo.md).
    down = [row["name"] for row in data["shown"] if row["at_once"] == "down"]
    assert down == ["site Ousemoor"]
    assert data["sentence"].startswith("Of 41 single failures 1 takes Ousemoor levels down")


def test_the_year_is_that_of_the_command(job: Path) -> None:
    told = json.loads(staddle("availability", "--json", job=job).stdout)["data"]
    shown = survival(job)["availability"]
    assert [row["what"] for row in shown["causes"]] == [row["what"] for row in told["causes"]]
    assert set(shown["notes"]) == set(told["notes"])
    assert [row[0] for row in shown["beside"]] == [
        "as placed",
        "all members on one host",
        "as far apart as the estate allows",
    ]
    one = next(row for row in shown["causes"] if row["what"].startswith("site Ousemoor, under "))
    assert one["address"] == "/plan?fail=Ousemoor"


def test_every_row_leads_to_the_plan_with_that_failure(job: Path) -> None:
    data = survival(job)
    for row in (data["shown"][0], data["pairs"][0]):
        plan = json.loads(get(job, row["address"].replace("/plan?", "/plan.json?")).body)["data"]
        assert plan["failure"]["judgement"]["scenario"]["name"] == row["name"]
        assert plan["failure"]["judgement"]["at_once"] == row["at_once"]


def test_one_kind_is_looked_at_alone(job: Path) -> None:
    data = survival(job, "?kind=feed")
    assert {row["name"].split()[0] for row in data["shown"]} == {"feed"}
    assert data["count"] == dict(map(tuple, data["kinds"]))["feed"]
    reply = get(job, "/survival.json?kind=weather")
    assert reply.status == 422
    assert "weather" in reply.body.decode()


def test_without_a_placement_the_estate_is_judged_alone(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    design = (job / "design.yaml").read_text(encoding="utf-8")
    # Nobody can stand on om-h02 with 8 GiB left: no placement exists.
    pinned = design.replace("{name: levels-3, site", "{name: levels-3, host: om-h02, site")
    assert pinned != design
    (job / "design.yaml").write_text(pinned, encoding="utf-8")
    data = survival(job)
    assert (data["basis"]["placement"], data["availability"]) == ("none", None)
    assert data["sentence"] == "No member is placed: the estate is judged alone."
    plan = json.loads(get(job, "/plan.json").body)["data"]
    assert plan["outcome"] == "none exists"
    assert any("om-h02" in text for text, _ in plan["conflict"])
    assert plan["mends"]
    assert not plan["may_settle"]
