"""The demo's package: the same bytes each time, valid by the published schema, and read as it was meant."""

import hashlib
import subprocess
import tarfile
import time
from pathlib import Path

import pytest
from lxml import etree

from demo.sluicelog_package import build_package
from staddle.package import check_answer, open_disk_file, read_package, verify_package
from tests.package.published_schemas import schema

GIB = 1024**3


@pytest.fixture(scope="module")
def ova(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_package(tmp_path_factory.mktemp("ova"))


def test_building_twice_gives_the_same_digest(ova: Path, tmp_path: Path) -> None:
    start = time.process_time()
    again = build_package(tmp_path)
    assert time.process_time() - start < 2
    assert again.name == "sluicelog-4.2.0.ova"
    assert hashlib.sha256(again.read_bytes()).digest() == hashlib.sha256(ova.read_bytes()).digest()


@pytest.mark.needs_reference
def test_the_descriptor_is_valid_by_the_published_schema(ova: Path) -> None:
    with tarfile.open(ova) as tar:
        stream = tar.extractfile("sluicelog-4.2.0.ovf")
        assert stream is not None
        root = etree.fromstring(stream.read())
    published = schema("dsp8023_1.0.0.xsd")
    published.assertValid(root)
    # and the schema is not one that lets everything pass
    del root.find(".//{*}Disk").attrib["{http://schemas.dmtf.org/ovf/envelope/1}diskId"]  # type: ignore[union-attr]
    assert not published.validate(root)


def test_gnu_tar_and_sha256sum_agree_with_the_manifest(ova: Path, tmp_path: Path) -> None:
    subprocess.run(["tar", "-xf", str(ova)], cwd=tmp_path, check=True)
    manifest = (tmp_path / "sluicelog-4.2.0.mf").read_text()
    tagged = manifest.replace("SHA256(", "SHA256 (").replace(")=", ") =")
    subprocess.run(
        ["sha256sum", "--check", "--strict", "-"], input=tagged, text=True, cwd=tmp_path, check=True
    )
    assert len(manifest.splitlines()) == 3


def test_it_is_verified_without_risk(ova: Path) -> None:
    verification = verify_package(ova)
    assert verification.package_sha256 == hashlib.sha256(ova.read_bytes()).hexdigest()
    assert [f.rule for f in verification.findings] == ["not-signed"]


def test_the_three_sizes(ova: Path) -> None:
    package = read_package(ova)
    assert package.findings == ()
    assert (package.product, package.version, package.name) == ("Sluicelog", "4.2.0", "sluicelog")
    assert package.default_size() == "river"
    data = package.get_disk("data")
    assert [
        (h.size_id, h.processors, h.memory_bytes // GIB, data.capacity_for(h.size_id) // GIB)
        for h in package.hardware
    ] == [("brook", 2, 4, 40), ("river", 4, 16, 160), ("estuary", 8, 64, 640)]
    for machine in package.hardware:
        assert [a.network for a in machine.adapters] == ["Management", "Telemetry"]
        assert [d.disk_id for d in machine.disks] == ["system", "data"]
        assert machine.has_cd
        assert machine.transports == ("iso",)
    assert package.get_disk("system").capacity_bytes == 16 * GIB
    assert package.operating_system == 101
    assert len(package.licences) == 1


@pytest.mark.parametrize("disk_id", ["system", "data"])
def test_the_populated_size_is_what_the_file_holds(ova: Path, disk_id: str) -> None:
    package = read_package(ova)
    disk = package.get_disk(disk_id)
    assert disk.file_id is not None
    with open_disk_file(ova, package, disk.file_id) as stream:
        content = stream.read()
    assert len(content) == disk.populated_bytes
    assert content.startswith(b"SLUICELOG ")


def test_the_questions(ova: Path) -> None:
    questions = {p.key: p for p in read_package(ova).properties}
    asked = [key for key, p in questions.items() if p.user_configurable]
    assert asked == [
        f"sluicelog.{name}"
        for name in (
            "host_name",
            "management_address",
            "management_prefix",
            "gateway",
            "telemetry_address",
            "telemetry_prefix",
            "dns_servers",
            "ntp_servers",
            "time_zone",
            "cluster_name",
            "retention_days",
            "admin_password",
            "log_level",
            "log_host",
        )
    ]
    assert all(p.label and p.description and p.category for p in questions.values())
    assert [key for key, p in questions.items() if p.password] == ["sluicelog.admin_password"]
    assert questions["sluicelog.retention_days"].default_for("estuary") == "400"
    good = {
        "host_name": "gauge1.ops.example",
        "management_address": "192.0.2.11",  # RFC 5737
        "management_prefix": "24",
        "gateway": "192.0.2.1",
        "telemetry_address": "198.51.100.11",
        "telemetry_prefix": "26",
        "dns_servers": "192.0.2.53, 198.51.100.53",
        "ntp_servers": "time1.ops.example",
        "time_zone": "Europe/London",
        "cluster_name": "ousemoor-levels",
        "retention_days": "730",
        "admin_password": "a long first one",
        "log_level": "warning",
        "log_host": "",
    }
    assert [check_answer(questions[f"sluicelog.{key}"], value) for key, value in good.items()] == [None] * 14
    bad = {
        "host_name": "",
        "management_prefix": "256",
        "time_zone": "Mars/Olympus",
        "cluster_name": "ab",
        "retention_days": "70000",
        "admin_password": "too short",
        "log_level": "loud",
        "data_disk_gib": "9999",
    }
    assert all(check_answer(questions[f"sluicelog.{key}"], value) for key, value in bad.items())
