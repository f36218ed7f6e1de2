"""The demo's whole story with --json: one document a command on standard output, in the envelope of docs/json.md."""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final
from xml.etree import ElementTree

import pytest

from staddle import __version__
from staddle.cli.main import COMMANDS
from staddle.kernel import from_json
from staddle.proof.model import Proof
from tests.cli.demo_job import PACKAGE, demo_job, free_block, open_window, settle, staddle
from tests.cli.test_cli_commands import documented

# One story, one process: spread over several it would be told several times, on the same addresses.
pytestmark = pytest.mark.xdist_group("cli-json")

Done = subprocess.CompletedProcess[str]

STORY: Final = {
    "package": ("intact", 0),
    "estate": ("read", 0),
    "limits": ("read", 0),
    "place": ("best shown", 0),
    "survive": ("not outlived", 1),
    "availability": ("computed", 0),
    "review": ("passed", 0),
    "sheets": ("complete", 0),
    "requests": ("written", 0),
    "rollout": ("listed", 0),
    "rehearse": ("sealed", 0),
    "prove": ("good", 0),
    "journal": ("read", 0),
    "dossier": ("written", 0),
    "serve": ("got", 0),
    "back-out": ("backed out", 0),
    "cautions": ("told", 0),
}
"""Every command but begin, which has tests of its own, in the order in which they are run; its outcome and exit code."""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's job, with the package where the design expects it."""
    return demo_job(tmp_path_factory.mktemp("story"), block=free_block())


@pytest.fixture(scope="module")
def story(job: Path) -> Iterator[dict[str, Done]]:
    """What each command printed."""
    root = job.parent
    words = {
        "package": (str(root / PACKAGE),),
        "estate": (str(root / "estate"),),
        "place": ("--settle", "--yes"),
        "availability": ("--draw",),
        "rollout": ("--dry-run",),
        "prove": ("--rehearsal",),
        "serve": ("--get", "/standing"),
        "back-out": ("--rehearsal", "--destroy"),
    }
    done: dict[str, Done] = {}
    try:
        for command in STORY:
            where = None if command in ("package", "estate") else job
            done[command] = staddle(command, *words.get(command, ()), "--json", job=where)
            if command == "prove":
                done["prove --junit"] = staddle("prove", "--rehearsal", "--junit", job=job)
        yield done
    finally:
        staddle("back-out", "--rehearsal", "--destroy", job=job)


def document(done: Done) -> dict[str, Any]:
    """Standard output as one JSON document; anything before or after it fails."""
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def test_every_command_is_in_the_story() -> None:
    assert {"begin", *STORY} == set(COMMANDS)


@pytest.mark.parametrize("command", STORY)
def test_one_document_in_the_envelope(story: dict[str, Done], command: str) -> None:
    done = story[command]
    told = document(done)
    assert set(told) == {"staddle", "form", "command", "outcome", "data"}
    assert (told["staddle"], told["form"], told["command"]) == (__version__, 1, command)
    assert (told["outcome"], done.returncode) == STORY[command], done.stderr
    assert documented(command)[told["outcome"]] == done.returncode
    assert done.stdout.endswith("\n}\n")
    assert not done.stderr.lstrip().startswith("{")


def test_data_is_what_the_page_says(story: dict[str, Done]) -> None:
    data = {command: document(done)["data"] for command, done in story.items() if "--" not in command}
    assert set(data["package"]) == {"package", "verification", "figures", "others"}
    assert set(data["estate"]) == {"reading", "age", "survey", "findings", "bookings", "left"}
    assert set(data["limits"]) == {"limits", "unknown", "form"}
    assert set(data["survive"]) == {"basis", "table"}
    assert set(data["survive"]["table"]) == {"singles", "doubles", "asked"}
    assert (data["survive"]["basis"]["placement"], data["survive"]["basis"]["members"]) == ("settled", 3)
    assert set(data["review"]) == {"refuse_at", "surveyed", "survey_age_days", "survey", "review", "sights"}
    assert (set(data["place"]), data["place"]["settled"]) == (
        {"found", "settled", "survey", "findings", "keeping"},
        True,
    )
    assert set(data["place"]["found"]["placement"]) == {
        "seats",
        "reasons",
        "passed_over",
        "levels",
        "undecided",
        "short_alone",
        "stops",
    }
    assert set(data["availability"]) == {
        "cluster",
        "settled",
        "rates_file",
        "as_placed",
        "from_measured_rates",
        "on_one_host",
        "as_far_apart",
        "causes",
        "improvements",
        "rates",
        "members",
        "data_needed",
        "notes",
        "files",
    }
    assert (data["availability"]["settled"], data["availability"]["from_measured_rates"]) == (True, None)
    shares = {"availability_low", "availability_high", "minutes_down_low", "minutes_down_high", "simulated"}
    assert set(data["availability"]["as_placed"]) == shares
    assert set(data["sheets"]) == {
        "sheets",
        "open_questions",
        "open_keys",
        "known",
        "files",
        "placed",
        "survey",
    }
    assert set(data["requests"]) == {"sheet", "files", "survey"}
    assert (data["rollout"]["rollout"], len(data["rollout"]["calls"])) == ("levels-rollout-1", 40)
    assert data["rehearse"]["standing"] == {
        "sealed": True,
        "done": 40,
        "steps": 40,
        "refused": [],
        "awaits": [],
        "not_known": [],
    }
    assert from_json(json.dumps(data["prove"]), Proof).good
    assert set(data["journal"]) == {"head", "entries", "root"}
    assert [entry["seq"] for entry in data["journal"]["entries"]] == list(
        range(1, len(data["journal"]["entries"]) + 1)
    )
    assert set(data["dossier"]) == {"status", "files", "survey"}
    assert set(data["cautions"]) == {"cautions"}
    assert data["back-out"] == {"rollout": "levels-rehearsal-1", "left": []}


def test_talk_goes_to_standard_error(story: dict[str, Done]) -> None:
    assert "looking for any placement" in story["place"].stderr
    assert "levels-1: create the machine" in story["rehearse"].stderr
    assert "read the certificate, health and view of levels-1" in story["prove"].stderr
    assert "will be taken back:" in story["back-out"].stderr


def test_what_cannot_be_taken_back_is_not_called_gone(story: dict[str, Done]) -> None:
    gone = [line for line in story["back-out"].stderr.splitlines() if line.endswith("seen gone")]
    assert any("levels-1: create the machine" in line for line in gone)
    assert not [line for line in gone if "seal" in line or "first password" in line or "eject" in line]


def test_junit_is_the_whole_of_standard_output(story: dict[str, Done]) -> None:
    root = ElementTree.fromstring(story["prove --junit"].stdout)
    assert (root.tag, root.get("failures")) == ("testsuite", "0")
    assert root.get("tests") == str(len(document(story["prove"])["data"]["checks"]))


def test_a_refusal_is_a_document_too(tmp_path: Path) -> None:
    done = staddle("place", "--json", cwd=tmp_path)
    assert done.returncode == 1
    told = document(done)
    assert (told["command"], told["outcome"], told["data"]["kind"]) == ("place", "error", "InputRefused")
    assert told["data"]["faults"][0]["what"] == "there is no design.yaml here"
    assert done.stderr.startswith("error: there is no design.yaml here\n")


def test_no_to_the_question_is_a_document_too_and_yes_never_covers_destruction(tmp_path: Path) -> None:
    # A by-hand rollout that waits for its first card has booked its room: there is something to take back.
    own = open_window(demo_job(tmp_path))
    settle(own)
    waiting = staddle("rollout", "--json", job=own)
    assert (document(waiting)["outcome"], waiting.returncode) == ("not finished", 1)
    done = staddle("back-out", "--json", "--yes", job=own, typed="n\n")
    assert (document(done)["outcome"], done.returncode) == ("not confirmed", 1)
    assert "Machines and disks listed above are destroyed. Go on? [y/N]" in done.stderr
