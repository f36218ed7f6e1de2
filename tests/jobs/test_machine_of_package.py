"""A job on a package that holds several machines: the design names one, and the whole job is of that one."""

import json
import subprocess
import tarfile
from pathlib import Path

import yaml

from staddle.package import read_package
from tests.cli.demo_job import PACKAGE, demo_job, free_block, settle, staddle

GAUGE = """
    <VirtualSystem ovf:id="gauge">
      <Info>A machine beside the members, not one of them</Info>
      <ProductSection ovf:class="gauge">
        <Info>What it asks</Info>
        <Product>Gauge reader</Product>
        <Property ovf:key="name" ovf:type="string" ovf:userConfigurable="true"><Label>Its name</Label></Property>
      </ProductSection>
      <VirtualHardwareSection>
        <Info>Its machine</Info>
        <Item><rasd:ElementName>Processors</rasd:ElementName><rasd:InstanceID>1</rasd:InstanceID>
          <rasd:ResourceType>3</rasd:ResourceType><rasd:VirtualQuantity>1</rasd:VirtualQuantity></Item>
        <Item><rasd:AllocationUnits>byte * 2^20</rasd:AllocationUnits><rasd:ElementName>Memory</rasd:ElementName>
          <rasd:InstanceID>2</rasd:InstanceID><rasd:ResourceType>4</rasd:ResourceType>
          <rasd:VirtualQuantity>512</rasd:VirtualQuantity></Item>
      </VirtualHardwareSection>
    </VirtualSystem>
"""


def collection_job(root: Path, *, machine: str, block: int | None = None) -> Path:
    """The demo's job on its package, to which a second machine was added, the member's machine last."""
    job = demo_job(root, block=block)
    works = root / "works"
    works.mkdir()
    with tarfile.open(root / PACKAGE) as tar:
        tar.extractall(works, filter="data")
    (descriptor,) = works.glob("*.ovf")
    for old in (*works.glob("*.mf"), *works.glob("*.cert")):
        old.unlink()
    text = descriptor.read_text(encoding="utf-8")
    opening, closing = '<VirtualSystem ovf:id="sluicelog">', "</VirtualSystem>\n</Envelope>"
    assert opening in text
    assert closing in text
    text = text.replace(opening, f'<VirtualSystemCollection ovf:id="works"><Info>all</Info>{GAUGE}{opening}')
    text = text.replace(closing, "</VirtualSystem></VirtualSystemCollection>\n</Envelope>")
    product_url = "<ProductUrl>https://sluicelog.example/</ProductUrl>"
    assert product_url in text
    text = text.replace(product_url, f"{product_url}<AppUrl>https://${{host_name}}/log</AppUrl>")
    descriptor.write_text(text, encoding="utf-8")
    design = (job / "design.yaml").read_text(encoding="utf-8")
    line = f"\n  machine: {machine}" if machine else ""
    design = design.replace(f"file: ../{PACKAGE}", f"file: ../works{line}")
    (job / "design.yaml").write_text(design, encoding="utf-8")
    settle(job)
    return job


def test_without_a_named_machine_the_job_is_refused_and_told_which_there_are(tmp_path: Path) -> None:
    done = staddle("sheets", job=collection_job(tmp_path, machine=""))
    assert done.returncode == 1
    assert 'the package holds 2 virtual machines: "gauge", "sluicelog"' in done.stderr
    assert "name one in design.yaml: package.machine" in done.stderr


def test_a_machine_that_is_not_there_is_told_with_those_that_are(tmp_path: Path) -> None:
    done = staddle("review", job=collection_job(tmp_path, machine="pump"))
    assert done.returncode == 1
    assert 'the package holds no virtual machine "pump"' in done.stderr
    assert 'it holds "gauge", "sluicelog"' in done.stderr


def test_answers_sheets_and_packages_are_of_the_named_machine(tmp_path: Path) -> None:
    job = collection_job(tmp_path, machine="sluicelog")
    done = staddle("sheets", job=job)
    assert done.returncode == 0, done.stderr
    sheets = "".join(path.read_text(encoding="utf-8") for path in (job / "sheets").glob("*.html"))
    assert "sluicelog.host_name" in sheets
    assert "gauge.name" not in sheets
    assert "https://levels-1.ousemoor.example/log" in (job / "sheets" / "levels-1.txt").read_text(
        encoding="utf-8"
    )
    done = staddle("package", "--bundle", str(job / "private" / "bundle"), job=job)
    assert done.returncode == 0, done.stderr
    bundle = job / "private" / "bundle"
    written = sorted(path for path in bundle.iterdir() if path.is_dir())
    assert len(written) == 3
    for folder in written:
        package = read_package(folder, machine="sluicelog")
        assert package.product == "Sluicelog"
        assert {prop.bare_key: prop.default_for("river") for prop in package.properties}["host_name"]
    assert (bundle / "bundle.txt").read_text(encoding="utf-8").count("sluicelog is the member") == 3


def test_a_rehearsal_stands_up_the_named_machine(tmp_path: Path) -> None:
    job = collection_job(tmp_path, machine="sluicelog", block=free_block())
    try:
        done: subprocess.CompletedProcess[str] = staddle(
            "rehearse", "--yes", "--json", job=job, timeout_s=240
        )
        assert done.returncode == 0, done.stderr
        assert json.loads(done.stdout)["command"] == "rehearse"
        assert list((job / "private").rglob("*answers.iso*")) == []
    finally:
        staddle("back-out", "--rehearsal", "--destroy", job=job)


def begun(root: Path, *more: str, typed: str = "") -> "subprocess.CompletedProcess[str]":
    """begin on that package, with a flag for each of the eight questions."""
    return staddle(
        "begin",
        "new",
        *(
            "--name",
            "levels",
            "--cluster",
            "Ousemoor levels",
            "--package",
            "../works",
            "--profile",
            "sluicelog",
        ),
        *("--estate", "../estate", "--members", "3", "--zone", "levels.ousemoor.example"),
        *more,
        typed=typed,
        cwd=root,
    )


NETWORKS = ("--network", "om-management 192.0.2.61", "--network", "om-telemetry 198.51.100.61")


def test_begin_asks_which_machine_and_writes_it_into_the_design(tmp_path: Path) -> None:
    collection_job(tmp_path, machine="")
    done = begun(tmp_path, *NETWORKS, typed="pump\nsluicelog\n")
    assert done.returncode == 0, done.stderr
    asked = "The package holds 2 machines: gauge, sluicelog. Which of them are the members?"
    assert done.stderr.count(asked) == 2
    assert 'the package holds no virtual machine "pump"' in done.stderr
    design = yaml.safe_load((tmp_path / "new" / "design.yaml").read_text(encoding="utf-8"))
    assert design["package"]["machine"] == "sluicelog"
    assert staddle("review", job=tmp_path / "new").stderr.count("virtual machine") == 0


def test_begin_without_an_answer_names_the_machines_and_makes_nothing(tmp_path: Path) -> None:
    collection_job(tmp_path, machine="")
    done = begun(tmp_path, *NETWORKS)
    assert done.returncode == 1
    assert "gauge, sluicelog" in done.stderr
    assert "--machine" in done.stderr
    done = begun(tmp_path, *NETWORKS, "--machine", "pump")
    assert done.returncode == 1
    assert "why:   it holds gauge, sluicelog" in done.stderr
    assert not (tmp_path / "new").exists()


def test_begin_asks_for_the_networks_of_the_named_machine_only(tmp_path: Path) -> None:
    """The gauge's machine has no adapter, so a network for it has nothing to be attached to."""
    collection_job(tmp_path, machine="")
    done = begun(tmp_path, *NETWORKS, "--machine", "gauge")
    assert done.returncode == 1
    assert "error: the machine has 0 networks, 2 are answered" in done.stderr
