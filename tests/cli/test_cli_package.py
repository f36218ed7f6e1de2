"""The command package: whose a package is, and whether what was carried is the pinned one. Keys are made by openssl."""

import json
import os
import re
import subprocess
from pathlib import Path

import pytest

from tests.cli.demo_job import ENVIRONMENT, PACKAGE, PROGRAM, demo_job, settle, staddle
from tests.cli.terminal import Terminal
from tests.package.signed_packages import Party, party, signed


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Party:
    return party(tmp_path_factory.mktemp("root"), "root", ca=True)


@pytest.fixture(scope="module")
def box(tmp_path_factory: pytest.TempPathFactory, root: Party) -> Path:
    """A package that a signer below that root signed."""
    place = tmp_path_factory.mktemp("box")
    return signed(place / "package", party(place, "maker", issuer=root))


def sha256sum(path: Path) -> str:
    return subprocess.run(["sha256sum", path], check=True, capture_output=True, text=True).stdout.split()[0]


def test_the_signer_is_named_with_its_anchor(box: Path, root: Party) -> None:
    done = staddle("package", str(box), "--anchor", str(root.certificate))
    assert done.returncode == 0, done.stderr
    assert "signed by CN=maker (RSA 2048, SHA256), which leads to the anchor CN=root\n" in done.stdout
    done = staddle("package", str(box))
    assert "issued by CN=root: no anchor was given that shows who that is\n" in done.stdout


def test_a_self_signed_package_is_said_as_such(tmp_path: Path) -> None:
    path = signed(tmp_path / "package", party(tmp_path, "alone"))
    done = staddle("package", str(path), "--json")
    assert json.loads(done.stdout)["data"]["verification"]["origin"]["standing"] == "self-signed"
    done = staddle("package", str(path))
    assert (
        "signed by CN=alone (RSA 2048, SHA256), which signed itself: nothing shows who that is\n"
        in done.stdout
    )


def test_another_anchor_refuses_the_package(box: Path, tmp_path: Path) -> None:
    other = party(tmp_path, "other", ca=True)
    done = staddle("package", str(box), "--anchor", str(other.certificate))
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("error: the signer CN=maker does not lead to an anchor\n")


def test_a_carried_package_is_checked_against_the_digest_on_the_command_line(tmp_path: Path) -> None:
    job = demo_job(tmp_path / "a")
    sha256 = sha256sum(job.parent / PACKAGE)
    bare = tmp_path / "elsewhere"
    bare.mkdir()
    os.link(job.parent / PACKAGE, bare / PACKAGE)
    done = staddle("package", "--check", ".", "--sha256", sha256.upper(), "--json", cwd=bare)
    told = json.loads(done.stdout)
    assert (done.returncode, told["outcome"]) == (0, "pinned package")
    assert told["data"]["package_sha256"] == sha256
    done = staddle("package", "--check", ".", "--sha256", "0" * 64, cwd=bare)
    assert done.returncode == 1
    assert done.stderr.startswith(f"error: this is not the pinned package\n  where: {PACKAGE}\n")
    done = staddle("package", "--check", ".", cwd=bare)
    assert done.stderr.startswith("error: no digest is pinned to compare with\n")
    done = staddle("package", "--check", ".", "--sha256", "12", cwd=bare)
    assert done.stderr.startswith('error: "12" is not a SHA-256\n')


def test_a_carried_package_is_checked_against_the_digest_that_the_design_pins(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    contents = json.loads(staddle("package", str(tmp_path / PACKAGE), "--json").stdout)["data"][
        "verification"
    ]["contents_sha256"]
    carried = tmp_path / "carried"
    carried.mkdir()
    subprocess.run(["tar", "-xf", tmp_path / PACKAGE, "-C", carried], check=True)
    pin(job, contents)
    done = staddle("package", "--check", str(carried), job=job)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("this is the pinned package: 4 files\n")
    # and the same pin holds for the OVA in review and rollout
    settle(job)
    assert "digest-differs" not in staddle("review", job=job, timeout_s=600).stdout
    assert staddle("rollout", "--dry-run", job=job, timeout_s=600).returncode == 0


def test_the_designs_anchors_are_asked_by_review_and_rollout(tmp_path: Path, root: Party) -> None:
    job = demo_job(tmp_path)
    settle(job)
    design = job / "design.yaml"
    text = design.read_text(encoding="utf-8")
    design.write_text(
        re.sub(r"(?m)^( +)(file: .*)$", rf"\g<1>\g<2>\n\g<1>anchors: [{root.certificate}]", text, count=1),
        encoding="utf-8",
    )
    done = staddle("review", job=job, timeout_s=600)
    assert done.returncode == 1
    assert "the package is not signed, and anchors are given for its signer" in done.stdout
    done = staddle("rollout", "--dry-run", job=job, timeout_s=600)
    assert "the package is not signed, and anchors are given for its signer" in done.stderr


def pin(job: Path, sha256: str) -> None:
    """Pin a digest in the job's design, in the place of what is pinned there."""
    design = job / "design.yaml"
    text = design.read_text(encoding="utf-8")
    text = re.sub(r"(?m)^ +sha256: .*\n", "", text)
    design.write_text(
        re.sub(r"(?m)^( +)(file: .*)$", rf"\g<1>\g<2>\n\g<1>sha256: '{sha256}'", text, count=1),
        encoding="utf-8",
    )


def test_bytes_and_rate_are_told_on_a_terminal_and_afterwards(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    with Terminal(
        [PROGRAM, "package", str(job.parent / PACKAGE)],
        out=tmp_path / "out",
        env={**ENVIRONMENT, "TERM": "xterm"},
    ) as terminal:
        assert terminal.wait_for(r"read 5\.27 MB in \d+\.\d s")
        assert terminal.exit_code() == 0
    assert (tmp_path / "out").read_text().startswith("Sluicelog 4.2.0")


@pytest.mark.parametrize(
    "words",
    [["package"], ["package", "x.ova", "--check", "."], ["package", "x.ova", "--sha256", "0" * 64]],
)
def test_two_kinds_of_work_at_once_are_wrong_usage(words: list[str], tmp_path: Path) -> None:
    done = staddle(*words, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
