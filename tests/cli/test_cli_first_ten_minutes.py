"""From a package and exports that were not made for the program to sheets and requests, as a newcomer would; no YAML by hand."""

import csv
import re
from datetime import timedelta
from pathlib import Path

from openpyxl import load_workbook

from tests.cli.demo_job import TODAY, staddle
from tests.cli.foreign_job import HOSTS, foreign_exports, foreign_package


def ran(*words: str, cwd: Path, typed: str = "", code: int = 0) -> str:
    done = staddle(*words, cwd=cwd, typed=typed)
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


TAKE = (
    *("estate", "est", "--take", "exports/servers.xlsx", "--as", "hosts", "--take", "exports/storage.csv"),
    *("--as", "pools", "--take", "exports/machines.csv", "--as", "guests", "--take", "exports/networks.csv"),
    *(
        "--as",
        "networks",
        "--survey-date",
        str(TODAY - timedelta(days=1)),
        "--surveyed-by",
        "virtualisation team",
    ),
)
ANSWERS = {
    "hosts.domains": "Location + Hall + Cabinet",
    "hosts.domains.kinds": "site, room, rack",
    "hosts.memory": "RAM fitted (GB)",
    "hosts.memory.unit": "GiB",
    "hosts.reserved_memory": "10 %",
    "hosts.vcpu_per_core": "4",
    "hosts.networks": "apps-front; apps-mirror",
    "pools.floor": "15 %",
    "guests.memory.unit": "GiB",
}


RULES = {
    "tp.unit.fullname": "${fqdn}",
    "tp.front.v4": "${address.Front}",
    "tp.front.mask": "${netmask.Front}",
    "tp.front.router": "${gateway.Front}",
    "tp.mirror.v4": "${address.Mirror}/${prefix.Mirror}",
    "tp.site.clocks": "${time_servers}",
    "tp.archive.label": "harbour",
}


def taken(cwd: Path, *more: str, code: int = 0) -> str:
    flags = [word for key, text in ANSWERS.items() for word in ("--answer", f"{key}={text}")]
    return ran(*TAKE, *flags, *more, cwd=cwd, code=code)


def test_from_foreign_files_to_sheets_and_requests(tmp_path: Path) -> None:
    foreign_package(tmp_path / "tidepost.ova")
    foreign_exports(tmp_path / "exports")

    told = ran("package", "tidepost.ova", cwd=tmp_path)
    assert "intact: 2 files have the digest of the manifest" in told
    assert all(key in told for key in ("tp.unit.fullname", "tp.mirror.v4", "tp.people.operator"))

    told = ran(*TAKE, "--answer", "hosts.pools=Reached by", cwd=tmp_path, code=1)
    assert 'there is no pool "Reached by"' in told
    told = taken(tmp_path)
    assert 'host "vh-mg-05", RAM fitted (GB): "n/a" may mean' in told
    assert 'guest "app022", Memory (GB): "lots" is not a number' in told
    mended(tmp_path / "exports")
    assert "guests.csv (80 rows)" in taken(tmp_path, "--settle")
    told = ran("estate", "est", cwd=tmp_path)
    assert "est: 12 hosts, 3 pools, 80 guests" in told
    assert all(host in told for host in HOSTS)

    opens, closes = (TODAY + timedelta(days=days) for days in (40, 41))
    answers = ("tidepost", "Harbour archive", "tidepost.ova", "", "est", "", "archive.harrow.example")
    networks = ("apps-front 198.51.100.61", "apps-mirror 203.0.113.11")
    window = f"{opens} 20:00 to {closes} 02:00 Europe/London"
    servers = [word for i in range(4) for word in ("--time-server", f"198.51.100.{50 + i}")]
    ran(
        *("begin", "job", "--window", window, "--change", "C-71", "--name-server", "198.51.100.49", *servers),
        cwd=tmp_path,
        typed="".join(f"{line}\n" for line in (*answers, *networks)),
    )

    told = ran("review", "--job", "job", cwd=tmp_path, code=1)
    assert 'open-question: nothing answers "Archive label" for tidepost-1, tidepost-2, tidepost-3' in told
    assert "profile-missing: the design names no profile" in told
    assert not any(
        rule in told for rule in ("no-window", "few-time-servers", "no-name-servers", "no-change-reference")
    )
    ran("limits", "--job", "job", cwd=tmp_path)
    assert "settled in placement.yaml" in ran("place", "--settle", "--yes", "--job", "job", cwd=tmp_path)

    told = ran("sheets", "--job", "job", cwd=tmp_path)
    assert "  tp.mirror.v4      Mirror address" in told
    assert "  ${address.Mirror}    203.0.113.11" in told
    before = (tmp_path / "job" / "design.yaml").read_text(encoding="utf-8")
    told = ran("sheets", "--answer", "tp.archive.lable=harbour", "--job", "job", cwd=tmp_path, code=1)
    assert 'the package asks no question "tp.archive.lable"' in told
    assert (tmp_path / "job" / "design.yaml").read_text(encoding="utf-8") == before
    flags = [word for key, rule in RULES.items() for word in ("--answer", f"{key}={rule}")]
    told = ran("sheets", *flags, "--job", "job", cwd=tmp_path)
    assert "3 answer sheets, 0 open questions" in told
    sheets = tmp_path / "job" / "sheets"
    for number in (1, 2, 3):
        sheet = (sheets / f"tidepost-{number}.txt").read_text(encoding="utf-8")
        for label, value in (
            ("Node full name", f"tidepost-{number}.archive.harrow.example"),
            ("Front address", f"198.51.100.{60 + number}"),
            ("Front mask", "255.255.255.128"),
            ("Front router", "198.51.100.1"),
            ("Mirror address", f"203.0.113.{10 + number}/26"),
            ("Archive label", "harbour"),
        ):
            assert re.search(rf"\[ \] {label} +{re.escape(value)}\n", sheet)
        assert any(host in sheet for host in HOSTS)

    ran("requests", "--job", "job", cwd=tmp_path)
    with (sheets / "requests.csv").open(encoding="utf-8-sig", newline="") as written:
        assert len(list(csv.DictReader(written))) == 11
    text = (sheets / "requests.txt").read_text(encoding="utf-8")
    assert "no date" not in text
    assert "The appliance's own ports are not known" in text
    told = ran("rehearse", "--job", "job", cwd=tmp_path, code=1)
    assert "there is no profile of this appliance yet" in told


def mended(exports: Path) -> None:
    book = load_workbook(exports / "servers.xlsx")
    sheet = book.active
    assert sheet is not None
    sheet["F8"] = 384
    book.save(exports / "servers.xlsx")
    machines = exports / "machines.csv"
    machines.write_bytes(machines.read_bytes().replace(b"lots", b"16,0"))
