"""package --bundle: the demo's members as packages, with a sheet, a record, and secrets only on request."""

import json
import re
import subprocess
from pathlib import Path

import pytest

from staddle.package import read_package
from tests.cli.demo_job import PACKAGE, PROGRAM, demo_job, open_window, settle, staddle
from tests.cli.terminal import Terminal
from tests.package.signed_packages import openssl, party

PASSWORD = "sluicelog.admin_password"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    job = open_window(demo_job(tmp_path))
    settle(job)
    return job


def answers(package: Path) -> dict[str, str]:
    found = read_package(package)
    return {prop.key: prop.default_for(found.default_size()) for prop in found.properties}


def test_a_package_a_member_with_its_answers_a_sheet_and_a_record(job: Path) -> None:
    out = job / "private" / "bundle"
    done = staddle("package", "--bundle", str(out), "--json", job=job)
    told = json.loads(done.stdout)
    assert (done.returncode, told["outcome"]) == (0, "bundled"), done.stderr
    assert sorted(path.name for path in out.iterdir()) == ["bundle.txt", "levels-1", "levels-2", "levels-3"]
    # The answers are those of the answer sheets, which are made by another way.
    assert staddle("sheets", job=job).returncode == 0
    for member in ("levels-1", "levels-2", "levels-3"):
        filled = answers(out / member)
        sheet = (job / "sheets" / f"{member}.csv").read_text(encoding="utf-8")
        values = [value for key, value in filled.items() if value and key != "sluicelog.data_disk_gib"]
        assert len(values) == 12
        assert [value for value in values if value not in sheet] == []
        assert filled[PASSWORD] == ""
    sheet = (out / "bundle.txt").read_text(encoding="utf-8")
    digest = subprocess.run(
        ["sha256sum", job.parent / PACKAGE], check=True, capture_output=True, text=True
    ).stdout.split()[0]
    assert digest in sheet
    assert told["data"]["original_sha256"] == digest
    for line in (
        "host          om-h01",
        "to type       Administrator's first password",
        "The original is not signed.",
    ):
        assert line in sheet
    assert json.loads((job / told["data"]["record"]).read_text()) == told["data"]
    assert "No signature of the maker's covers these" in done.stderr


def test_secrets_are_those_of_the_rollout_and_lie_in_private_only(job: Path) -> None:
    out = job / "private" / "bundle"
    early = staddle("package", "--bundle", str(out), "--secrets", job=job)
    assert early.returncode == 1
    assert early.stderr.startswith("error: there are no secrets yet for Administrator's first password\n")
    assert not (job / "private" / "strongbox.age").exists()
    # A by-hand rollout that waits for its first card has drawn them.
    assert staddle("rollout", "--json", job=job, timeout_s=600).returncode == 1
    outside = staddle("package", "--bundle", str(job.parent / "bundle"), "--secrets", job=job)
    assert outside.stderr.startswith(
        "error: packages with secrets are written below the job's private folder only\n"
    )
    done = staddle("package", "--bundle", str(out), "--secrets", job=job)
    assert done.returncode == 0, done.stderr
    assert "THESE PACKAGES HOLD SECRETS in clear text." in done.stderr
    secrets = {answers(out / member)[PASSWORD] for member in ("levels-1", "levels-2", "levels-3")}
    assert len(secrets) == 1
    secret = secrets.pop()
    assert len(secret) == 24
    assert "THESE PACKAGES HOLD SECRETS" in (out / "bundle.txt").read_text(encoding="utf-8")
    # Nothing that is shown or kept elsewhere has it.
    assert secret not in done.stdout + done.stderr + (out / "bundle.txt").read_text(encoding="utf-8")
    for path in job.rglob("*"):
        if path.is_file() and not path.is_relative_to(out):
            assert secret.encode() not in path.read_bytes(), path
    assert all(path.stat().st_mode & 0o077 == 0 for path in (out, *out.rglob("*")))


def test_what_is_open_or_another_package_is_refused_before_anything_is_written(job: Path) -> None:
    design = job / "design.yaml"
    text = design.read_text(encoding="utf-8")
    design.write_text(re.sub(r"(?m)^( +)(file: .*)$", rf"\g<1>\g<2>\n\g<1>sha256: {'a' * 64}", text, count=1))
    out = job.parent / "bundle"
    done = staddle("package", "--bundle", str(out), job=job)
    assert done.stderr.startswith("error: the package is not the one that the design pins\n")
    assert not out.exists()
    design.write_text(re.sub(r"(?m)^  servers: .*(?:\n {4,}.*)*$", "  servers: []", text))
    done = staddle("package", "--bundle", str(out), job=job)
    assert done.returncode == 1
    assert 'error: nothing answers "NTP servers" for levels-1\n' in done.stderr
    assert not out.exists()


def test_the_passphrase_of_the_signing_key_is_asked(job: Path, tmp_path: Path) -> None:
    own = party(tmp_path / "keys", "packages")
    locked = tmp_path / "keys" / "locked.pem"
    locked.write_bytes(openssl("pkcs8", "-topk8", "-in", own.key, "-passout", "pass:pond weed"))
    sign = ("--sign-key", str(locked), "--sign-certificate", str(own.certificate))
    wrong = staddle("package", "--bundle", str(tmp_path / "a"), *sign, job=job, typed="duck weed\n")
    assert wrong.stderr.startswith("error: the passphrase does not open the key\n")
    assert not (tmp_path / "a").exists()
    done = staddle("package", "--bundle", str(tmp_path / "a"), *sign, job=job, typed="pond weed\n")
    assert done.returncode == 0, done.stderr
    found = staddle("package", str(tmp_path / "a" / "levels-2"))
    assert "signed by CN=packages (RSA 2048, SHA256), which signed itself" in found.stdout
    assert "These packages are signed by CN=packages." in (tmp_path / "a" / "bundle.txt").read_text()
    # on a terminal it is not echoed
    with Terminal(
        [PROGRAM, "package", "--bundle", str(tmp_path / "b"), *sign, "--job", str(job)], out=tmp_path / "out"
    ) as terminal:
        assert terminal.wait_for(r"passphrase of .*: ")
        terminal.type("pond weed")
        assert terminal.exit_code() == 0
        assert "pond weed" not in terminal.said


@pytest.mark.parametrize(
    "words",
    [
        ("--bundle", "x", "--sign-key", "k"),
        ("--secrets", "x.ova"),
        ("--bundle", "x", "--check", "y"),
        ("--bundle", "x", "--as", "zip"),
    ],
)
def test_options_that_do_not_fit_are_wrong_usage(words: tuple[str, ...], tmp_path: Path) -> None:
    done = staddle("package", *words, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
