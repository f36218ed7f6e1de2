"""The command availability as a person meets it: text, the starter, faults with their places."""

from pathlib import Path

import pytest

from tests.cli.demo_job import demo_job, staddle


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_job(tmp_path_factory.mktemp("availability"))


def test_it_tells_the_range_the_causes_what_helps_and_where_the_rates_are_from(job: Path) -> None:
    done = staddle("availability", job=job)
    assert (done.returncode, done.stderr.count("error")) == (0, 0)
    lines = done.stdout.splitlines()
    assert lines[0] == "Ousemoor levels, where place would put its members now"
    for text in (
        "all members on one host",
        "It serves while these are there: 2 of 3 members with data, 2 of 3 votes, a member that may lead.",
        "so there is no single figure.",
        "site Ousemoor, under levels-1, levels-2, levels-3",
        "3 sites, one for each member",
        "common practice, no source",
        "there is no rates.yaml; staddle availability --start begins one",
        "It is advice.",
    ):
        assert text in done.stdout, text
    assert max(map(len, lines)) <= 110


def test_a_started_file_is_filled_and_then_named(job: Path) -> None:
    done = staddle("availability", "--start", job=job)
    assert (done.returncode, done.stdout) == (
        0,
        "written: rates.yaml; fill it from your own records, then: staddle availability\n",
    )
    again = staddle("availability", "--start", job=job)
    assert again.returncode == 1
    assert again.stderr.startswith("error: there is a rates.yaml already\n")
    file = job / "rates.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("value:  # 0.01 to 0.04 a year", "value: sometimes", 1), encoding="utf-8")
    wrong = staddle("availability", job=job)
    assert wrong.returncode == 1
    assert 'error: "sometimes" is no number of failures a year\n  where: rates.yaml:9:10\n' in wrong.stderr
    filled = text.replace(
        "value:  # 0.01 to 0.04 a year\n  origin:\n  source:",
        'value: 3 in 240 years\n  origin: measured\n  source: "list H-17"',
        1,
    )
    file.write_text(filled, encoding="utf-8")
    done = staddle("availability", job=job)
    assert done.returncode == 0, done.stderr
    assert "3 in 240 years" in done.stdout
    assert "measured: list H-17 (rates.yaml:9:10)" in done.stdout
