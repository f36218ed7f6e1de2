"""A disk of which the package holds only what differs from another one (OVF parentRef) is not taken for a whole disk.

That such a file is no disk by itself is shown with qemu-img, which makes files of this kind too.
"""

import re
import subprocess
import tarfile
from pathlib import Path

import pytest

from tests.cli.demo_job import PACKAGE, demo_job, settle, staddle


def job_with_difference(root: Path, platform: str) -> Path:
    """The demo's job on a package whose data disk is written as a difference from its system disk."""
    job = demo_job(root)
    works = root / "works"
    with tarfile.open(root / PACKAGE) as tar:
        tar.extractall(works, filter="data")
    (descriptor,) = works.glob("*.ovf")
    for old in (*works.glob("*.mf"), *works.glob("*.cert")):
        old.unlink()
    text = descriptor.read_text(encoding="utf-8")
    data = '<Disk ovf:diskId="data" '
    assert data in text
    descriptor.write_text(text.replace(data, f'{data}ovf:parentRef="system" '), encoding="utf-8")
    design = (job / "design.yaml").read_text(encoding="utf-8")
    design = design.replace(f"file: ../{PACKAGE}", "file: ../works")
    design = re.sub(r"(?m)^( +)platform: .*\n", "", design)
    design = design.replace("job:\n", f"job:\n  platform: {platform}\n", 1)
    (job / "design.yaml").write_text(design, encoding="utf-8")
    settle(job)
    return job


def test_a_rollout_whose_platform_writes_single_disks_is_refused_before_anything_is_made(
    tmp_path: Path,
) -> None:
    job = job_with_difference(tmp_path, "loopback")
    done = staddle("rollout", "--dry-run", job=job)
    assert done.returncode == 1
    assert 'error: the disk "data" cannot be delivered by the platform "loopback"' in done.stderr
    assert 'its file holds only what differs from the disk "system"' in done.stderr
    assert "platform: by-hand" in done.stderr


def test_by_hand_it_goes_on_and_review_tells_of_it(tmp_path: Path) -> None:
    job = job_with_difference(tmp_path, "by-hand")
    done = staddle("rollout", "--dry-run", job=job)
    assert done.returncode == 0, done.stderr
    assert "differing-disk" in staddle("review", job=job).stdout


@pytest.mark.parametrize("parent", ["there", "away"])
def test_what_the_refusal_rests_on(tmp_path: Path, parent: str) -> None:
    base, top = tmp_path / "base.qcow2", tmp_path / "top.qcow2"
    subprocess.run(["qemu-img", "create", "-q", "-f", "qcow2", base, "64M"], check=True)
    subprocess.run(["qemu-img", "create", "-q", "-f", "qcow2", "-b", base, "-F", "qcow2", top], check=True)
    if parent == "away":
        base.unlink()
    made = subprocess.run(
        ["qemu-img", "convert", "-O", "raw", top, tmp_path / "whole.img"], capture_output=True, check=False
    )
    assert (made.returncode == 0) is (parent == "there")
