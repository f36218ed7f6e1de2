"""Exports handed in on the page become the estate's tables: proposed, asked, mended, settled, written. A real server."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from staddle.estate.tables import read_estate
from staddle.jobs.estate_exports import drop_exports, keep_export, kept_exports
from staddle.jobs.folder import JobFolder
from staddle.kernel import InputRefused
from tests.cli.demo_job import SURVEYED, demo_job
from tests.web.served import Answer, Server, served

pytestmark = pytest.mark.xdist_group("web-estate")

HOSTS = """Server;Cabinet;Cores;RAM (GB);Stores;LANs
om-h01;OM-R1;32;384;om-store-1,om-store-2;om-management,om-telemetry
om-h04;OM-R2;32;384;om-store-1,om-store-2;om-management,om-telemetry
Total;;64;768;;
"""
POOLS = "Name;Size;Used;Provisioned\nom-store-1;20 TB;11 TB;12 TB\nom-store-2;20 TB;12 TB;13 TB\n"
NETWORKS = "Name;Subnet;Gateway;VLAN ID\nom-management;192.0.2.0/25;192.0.2.1;110\nom-telemetry;198.51.100.0/25;198.51.100.1;120\n"
GUESTS = "Name;Host;Memory;vCPU;Pool;Disk\nom-time-1;om-h01;4 GiB;1;om-store-1;40 GB\n"
EXPORTS = {"hosts": HOSTS, "pools": POOLS, "networks": NETWORKS, "guests": GUESTS}


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's job before anybody has surveyed."""
    folder = demo_job(tmp_path_factory.mktemp("estate"))
    for table in (folder.parent / "estate").iterdir():
        table.unlink()
    return folder


@pytest.fixture(scope="module")
def server(job: Path) -> Iterator[Server]:
    with served(job) as running:
        yield running


def hand_in(server: Server, files: Mapping[str, str]) -> Answer:
    """A form with files as browsers send it (RFC 7578)."""
    edge = "edge-7d1f"
    parts = [
        f'--{edge}\r\nContent-Disposition: form-data; name="{table}"; filename="{table} export.csv"\r\n'
        f"Content-Type: text/csv\r\n\r\n{text}\r\n"
        for table, text in files.items()
    ]
    empty = f'--{edge}\r\nContent-Disposition: form-data; name="domains"; filename=""\r\n\r\n\r\n'
    body = ("".join(parts) + empty + f"--{edge}--\r\n").encode()
    headers = {"Host": server.host, "Cookie": server.cookie, "Origin": server.base}
    headers["Content-Type"] = f"multipart/form-data; boundary={edge}"
    return server.ask("POST", "/estate/hand-in", headers, body)


def data(server: Server) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(server.get("/estate.json").body)["data"]
    return told


def open_names(server: Server) -> list[str]:
    points = [point for table in data(server)["take"]["tables"] for point in table["questions"]]
    return [f"{p['table']}.{p['column']}" + ("" if p["key"] == "from" else f".{p['key']}") for p in points]


def test_exports_become_tables(server: Server, job: Path) -> None:
    place = job.parent / "estate"
    before = data(server)
    assert (before["report"], before["take"]) == (None, None)
    assert "The tables of the estate cannot be read yet." in server.get("/estate").body

    assert hand_in(server, EXPORTS).status == 303
    assert not list(place.glob("*.csv"))  # nothing is written to the estate before it was looked at
    assert "hosts.memory.unit" in open_names(server)
    page = server.get("/estate").body
    assert "Which unit do the bare numbers of memory count?" in page
    assert "Rows passed over: Total." in page

    refused = server.post("/estate/answer", {"answer hosts.memory.unit": "furlongs"})
    assert refused.status == 422
    assert "is no unit of memory" in refused.body.replace("&#34;", '"')
    assert "hosts.memory.unit" in open_names(server)

    answers = {
        "hosts.domains.site": "Ousemoor",
        "hosts.memory.unit": "GiB",
        "hosts.reserved_memory": "24 GiB",
        "hosts.vcpu_per_core": "2",
        "hosts.networks": "LANs",
        "pools.domains": "none",
        "pools.floor": "15 %",
    }
    for _ in range(4):  # an answer may open another point
        if not (left := open_names(server)):
            break
        known = {f"answer {name}": answers.get(name, ",") for name in left}
        assert server.post("/estate/answer", known).status == 303
    assert open_names(server) == []

    keep = {"surveyed": str(SURVEYED), "by": "W. Marram, estate office"}
    assert server.post("/estate/keep", {**keep, "surveyed": "yesterday"}).status == 422
    written = server.post("/estate/keep", keep)
    assert (written.status, written.headers.get("location")) == (303, "/estate?written=yes"), written.body[
        -3000:
    ]
    estate = read_estate(place)
    assert {host.name: host.memory_bytes for host in estate.hosts} == {
        "om-h01": 384 * 2**30,
        "om-h04": 384 * 2**30,
    }
    assert (estate.surveyed, estate.surveyed_by) == (SURVEYED, "W. Marram, estate office")
    assert kept_exports(JobFolder(root=job)) == ()
    after = server.get("/estate?written=yes").body
    assert "The tables are written." in after
    assert "2 hosts, 2 pools, 1 guests" in after


def test_a_survey_is_not_replaced_unseen(server: Server, job: Path) -> None:
    changed = EXPORTS | {"hosts": HOSTS.replace(";32;384;", ";40;384;", 1)}
    assert hand_in(server, changed).status == 303
    page = server.get("/estate").body
    assert "What changes in hosts" in page
    before = (job.parent / "estate" / "hosts.csv").read_bytes()
    keep = {"surveyed": str(SURVEYED), "by": "W. Marram"}
    refused = server.post("/estate/keep", keep)
    assert refused.status == 422
    assert "replacing the tables that are there was not agreed to" in refused.body
    assert (job.parent / "estate" / "hosts.csv").read_bytes() == before
    assert server.post("/estate/keep", {**keep, "replace": "yes"}).status == 303
    assert {host.cores for host in read_estate(job.parent / "estate").hosts} == {40, 32}


def test_what_is_no_table_is_refused_and_exports_can_be_dropped(server: Server, job: Path) -> None:
    assert hand_in(server, {}).status == 422
    assert hand_in(server, {"hosts": "\x00\x01"}).status == 422
    assert server.post("/estate/drop", {}).status == 303
    assert data(server)["kept"] == []
    assert server.post("/estate/answer", {"answer hosts.memory.unit": "GiB"}).status == 422


def test_the_name_of_an_export_leads_nowhere(job: Path) -> None:
    folder = JobFolder(root=job)
    path = keep_export(folder, "hosts", "../../../etc/passwd.csv", b"a;b\n")
    assert path == folder.private / "exports" / "hosts.csv"
    assert kept_exports(folder) == ((path, "hosts"),)
    for table, name, content in (("hosts", "x.exe", b"a"), ("hosts", "x.csv", b""), ("../x", "x.csv", b"a")):
        with pytest.raises(InputRefused):
            keep_export(folder, table, name, content)
    drop_exports(folder)
    assert kept_exports(folder) == ()
