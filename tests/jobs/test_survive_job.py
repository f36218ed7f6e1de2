"""survive on the demo's job: counts read off its tables, seats checked by the independent checker, the files it writes."""

import json
from datetime import UTC, datetime
from xml.etree import ElementTree

import pytest

from demo.ousemoor_estate import demo_estate
from staddle.estate.model import Estate
from staddle.jobs.folder import JobFolder, find_job
from staddle.jobs.place import place, settle
from staddle.jobs.survive import empty_hosts, fail, survive
from staddle.kernel import InputRefused
from staddle.placement.after import running_guests, stands_after
from staddle.survival.serving import State
from tests.cli.demo_job import SURVEYED, demo_job
from tests.failures.restart_checker import broken

NOW = datetime.now(UTC)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobFolder:
    """The demo's job, its placement settled."""
    folder = find_job(demo_job(tmp_path_factory.mktemp("survive"), block=150))
    settle(place(folder, NOW), by="R. Fenwold", on=NOW.date())
    return folder


@pytest.fixture(scope="module")
def estate() -> Estate:
    """What the demo's tables were written from."""
    return demo_estate(surveyed=SURVEYED)


def test_every_host_pool_and_domain_is_judged(job: JobFolder, estate: Estate) -> None:
    report = survive(job, NOW)
    told = [one.scenario.name for one in report.table.singles]
    rows = [("host", h.name) for h in estate.hosts] + [("pool", p.name) for p in estate.pools]
    rows += [(d.kind, d.name) for d in estate.domains]
    assert sorted(told) == sorted(f"{kind} {name}" for kind, name in rows)
    assert (report.basis.placement, report.basis.members, report.basis.least_data) == ("settled", 3, 2)
    assert report.basis.guests == len(estate.guests)
    by_name = {one.scenario.name: one for one in report.table.singles}
    # All three members stand at Ousemoor, each in a rack, on a pool and on a host of its own (docs/demo.md).
    assert by_name["site Ousemoor"].at_once is State.DOWN
    assert [len(by_name[f"rack OM-R{n}"].members_lost) for n in (1, 2, 3)] == [1, 1, 1]
    assert report.table.doubles is not None
    assert dict(report.table.doubles.states)["down"] == 3  # the pairs among the three members' hosts
    on_disk = {m.name: m for m in running_guests(estate)}
    for one in report.table.singles:
        seats = {machine: host for machine, host in one.seats if machine in on_disk}
        hosts, pools = one.scenario.hosts, one.scenario.pools
        assert broken(running_guests(estate), stands_after(estate), hosts, pools, seats) == []
        displaced = [g for g in estate.guests if g.host in hosts and g.pool not in pools]
        left = set(one.not_restarted)
        assert len(displaced) == one.guests_restarted + sum(g.name in left for g in displaced)
    record = json.loads((job.records / "survive.json").read_text(encoding="utf-8"))
    assert len(record["table"]["singles"]) == len(rows)
    drawn = ElementTree.fromstring((job.records / "survive.svg").read_text(encoding="utf-8"))
    texts = "".join(drawn.itertext())
    assert "site Ousemoor" in texts
    assert f"not drawn: {len(rows) - 24} that are no worse" in texts


def test_a_failure_that_a_person_names_is_told_in_full(job: JobFolder) -> None:
    one = fail(job, NOW, ["OM-feed-B", "om-store-1"]).judgement
    assert one.scenario.domains == (("feed", "OM-feed-B"), ("pool", "om-store-1"))
    assert one.at_once is State.DOWN
    assert {*one.members_lost, *one.members_displaced} == {"levels-1", "levels-2"}
    with pytest.raises(InputRefused, match='"om-h99" is no host, pool or domain'):
        fail(job, NOW, ["om-h99"])


def test_emptying_a_host_moves_each_of_its_machines(job: JobFolder, estate: Estate) -> None:
    found = empty_hosts(job, NOW, ["om-h02"]).evacuation
    assert {move.machine for move in found.moves} == {g.name for g in estate.guests if g.host == "om-h02"}
    seats = {move.machine: move.to_host for move in found.moves}
    assert broken(running_guests(estate), stands_after(estate), ["om-h02"], [], seats) == []
