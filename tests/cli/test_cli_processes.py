"""The program as a process: exit codes, whole messages, closed pipes, colour, Ctrl-C."""

import json
import os
import re
import signal
import subprocess
from pathlib import Path

import pytest

from staddle.kernel.cautions import CAUTIONS, POINTER
from tests.cli.demo_job import (
    ENVIRONMENT,
    PACKAGE,
    PROGRAM,
    demo_job,
    free_block,
    loopback_job,
    settle,
    staddle,
)
from tests.cli.terminal import Terminal

PROFILES = Path(__file__).parents[2] / "src" / "staddle" / "appliances" / "profiles"


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's job; nobody changes it."""
    return demo_job(tmp_path_factory.mktemp("shop"))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            ["rehears"],
            'error: there is no command "rehears". Did you mean "rehearse"?\n  try:   staddle --help\n',
        ),
        (
            ["backout"],
            'error: there is no command "backout". Did you mean "back-out"?\n  try:   staddle --help\n',
        ),
        (["paint"], 'error: there is no command "paint".\n  try:   staddle --help\n'),
        (
            ["place", "--sette"],
            "error: Unknown option: --sette. Did you mean --settle?\n  try:   staddle place --help\n",
        ),
    ],
)
def test_wrong_usage_ends_with_two_and_names_the_near_one(words: list[str], told: str) -> None:
    done = staddle(*words)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", told)


@pytest.mark.parametrize("words", [["package"], ["review", "--refuse-at", "maybe"], ["estate", "a", "b"]])
def test_other_wrong_usage_ends_with_two_and_no_document(words: list[str]) -> None:
    done = staddle(*words, "--json")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("error: ")
    assert done.stderr.endswith(f"\n  try:   staddle {words[0]} --help\n")


def test_without_a_job_folder_the_whole_message_tells_what_to_do(tmp_path: Path) -> None:
    done = staddle("place", "--job", "nowhere", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "error: there is no design.yaml here\n"
        f"  where: {tmp_path / 'nowhere'}\n"
        "  why:   every command works in a job folder\n"
        '  try:   make one with "staddle begin DIR", or name it with --job DIR\n'
    )
    assert not (tmp_path / "nowhere").exists()


def test_every_fault_of_a_broken_design_is_told_at_once(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    text = (job / "design.yaml").read_text(encoding="utf-8")
    breaks = {
        "  owner: hydrology": "  ownr: hydrology",
        "  retention: 400 d": "  retention: 400",
        "allocation: thick": "allocation: plump",
        "zone: Europe/London": "zone: Europe/Ousemoor",
    }
    for good, bad in breaks.items():
        assert text.count(good) == 1
        text = text.replace(good, bad)
    (job / "design.yaml").write_text(text, encoding="utf-8")
    done = staddle("review", job=job)
    assert (done.returncode, done.stdout) == (1, "")
    lines = [
        number
        for number, line in enumerate(text.splitlines(), 1)
        if any(bad in line for bad in breaks.values())
    ]
    told = [
        int(number) for number in re.findall(r"^  where: design\.yaml:(\d+):\d+$", done.stderr, re.MULTILINE)
    ]
    assert sorted(set(told)) == lines
    assert done.stderr.count("error: ") == len(told) == 4


def test_a_traceback_comes_only_on_request(tmp_path: Path) -> None:
    # Without the request: every whole message that is compared in this file has none.
    asked = staddle("place", cwd=tmp_path, env={"STADDLE_TRACEBACK": "1"})
    assert "Traceback" in asked.stderr


@pytest.mark.parametrize("options", [[], ["--json"]])
def test_a_reader_that_leaves_is_no_error(job: Path, options: list[str]) -> None:
    read, write = os.pipe()
    os.close(read)
    try:
        done = subprocess.run(
            [PROGRAM, "estate", str(job.parent / "estate"), *options],
            stdout=write,
            stderr=subprocess.PIPE,
            env=ENVIRONMENT,
            timeout=60,
        )
    finally:
        os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")


# ECMA-48 §8.3.117 (SGR): 30–49 and, by common practice, 90–107 set a colour; 1 (bold) and 4 (underlined) do not.
_COLOUR = re.compile(r"\x1b\[(?:\d+;)*(?:3\d|4\d|9\d|10[0-7])(?:;\d+)*m")


def _on_a_terminal(words: list[str], **environment: str) -> str:
    """What a terminal with colours gets to see."""
    settings = {name: text for name, text in ENVIRONMENT.items() if name not in ("NO_COLOR", "TERM")}
    desk = Terminal([PROGRAM, *words], out=None, env=settings | {"TERM": "xterm-256color"} | environment)
    with desk:
        assert desk.exit_code() == 0
    return desk.said


def test_no_color_is_obeyed(job: Path) -> None:
    assert _COLOUR.search(_on_a_terminal(["--help"]))  # else the next line would prove nothing
    assert not _COLOUR.search(_on_a_terminal(["--help"], NO_COLOR="1"))
    assert not _COLOUR.search(_on_a_terminal(["package", str(job.parent / PACKAGE)], NO_COLOR="1"))


def _dismantle(job: Path) -> None:
    """Take the stand-ins of a rehearsal back, whatever became of it."""
    staddle("back-out", "--rehearsal", "--destroy", job=job)


def test_ctrl_c_at_the_question_after_a_search_is_told_and_settles_nothing(tmp_path: Path) -> None:
    # The solver's library puts the system's own handler in place, which ends a process without a word.
    job = demo_job(tmp_path)
    with Terminal([PROGRAM, "place", "--settle", "--job", str(job)], out=None) as desk:
        assert desk.wait_for(r"Settle this placement\? \[y/N\] ") is not None
        desk.process.send_signal(signal.SIGINT)
        assert desk.exit_code() == 1
    assert desk.said.endswith("\nstopped\n")
    assert not (job / "placement.yaml").exists()


def test_where_no_placement_exists_it_is_told_what_to_do(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    design = job / "design.yaml"
    text = design.read_text(encoding="utf-8")
    design.write_text(re.sub(r"(?m)^apart: .*$", "apart: [host, site]", text), encoding="utf-8")
    done = staddle("place", job=job)
    assert done.returncode == 1
    assert done.stdout.startswith("none exists: ")
    assert "where: design.yaml:" in done.stdout
    assert "any one of these would do, each was tried; the cheapest first:" in done.stdout
    assert "  give up a rule: let any number of members share a site" in done.stdout.splitlines()


def test_ctrl_c_in_a_rehearsal_stops_it_and_the_same_command_goes_on(tmp_path: Path) -> None:
    job = demo_job(tmp_path, block=free_block())
    settle(job)
    command = [PROGRAM, "rehearse", "--job", str(job)]
    try:
        with subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=ENVIRONMENT, text=True
        ) as process:
            assert process.stderr is not None
            for line in process.stderr:
                if "create the machine" in line:
                    break
            process.send_signal(signal.SIGINT)
            printed, said = process.communicate(timeout=40)
        assert (process.returncode, printed) == (1, "")
        assert said.endswith("\nstopped; what was done is in the journal, the same command goes on\n")
        assert "Traceback" not in said

        # Goes on, and nobody reads what it says: the work is done all the same, and the exit code tells the truth.
        read, write = os.pipe()
        os.close(read)
        again = subprocess.run(
            command, stdin=subprocess.DEVNULL, stdout=write, stderr=write, env=ENVIRONMENT, timeout=90
        )
        os.close(write)
        assert again.returncode == 0
        story = staddle("journal", job=job)
        assert re.search(r"cluster: seal +seen done", story.stdout)
        kept = json.loads((job / "records" / "levels-rehearsal-1" / "proof.json").read_text(encoding="utf-8"))
        assert (kept["good"], kept["rounds"]) == (True, 2)
        asked = staddle("back-out", "--rehearsal", job=job, typed="n\n")
        assert "will be taken back:" in asked.stderr
        # Its machines are stand-ins: no seal keeps them, and nothing of it is in service.
        assert "cannot be backed out" not in asked.stderr
        assert "in service" not in asked.stderr
        assert len(re.findall(r"levels-1: deliver the disk system +started", story.stdout)) <= 2
    finally:
        _dismantle(job)


def test_ctrl_c_at_a_card_does_not_wait_for_enter(tmp_path: Path) -> None:
    job = loopback_job(tmp_path, block=free_block())
    settle(job)
    with Terminal([PROGRAM, "rollout", "--job", str(job)], out=tmp_path / "printed.txt") as desk:
        assert desk.wait_for("Done\\?") is not None
        desk.process.send_signal(signal.SIGINT)
        assert desk.exit_code(deadline_s=20) == 1
    assert desk.said.endswith("\nstopped; what was done is in the journal, the same command goes on\n")


def test_a_dry_run_lists_every_call_and_records_nothing(tmp_path: Path) -> None:
    job = loopback_job(tmp_path, block=free_block())
    settle(job)
    done = staddle("rollout", "--dry-run", job=job)
    assert done.returncode == 0
    steps = [line for line in done.stdout.splitlines() if not line.startswith(" ")]
    assert (len(steps), steps[-1]) == (40, "cluster/seal")
    assert max(len(line) for line in done.stdout.splitlines()) <= 100
    after = staddle("journal", job=job)
    assert (after.returncode, after.stderr.splitlines()[0]) == (1, "error: the journal is empty")


def test_cautions_stand_in_full_before_real_machines_are_touched_and_as_a_line_from_then_on(
    tmp_path: Path,
) -> None:
    job = loopback_job(tmp_path, block=free_block())
    settle(job)
    said = [staddle("rollout", job=job).stderr]  # nobody answers its cards
    profile = (PROFILES / "sluicelog.yaml").read_text(encoding="utf-8")
    (job / "own.yaml").write_text(profile.replace("title: ", "title: Our ", 1), encoding="utf-8")
    design = (job / "design.yaml").read_text(encoding="utf-8")
    (job / "design.yaml").write_text(
        design.replace("profile: sluicelog", "profile: own.yaml"), encoding="utf-8"
    )
    said.append(staddle("rollout", job=job).stderr)
    assert [all(caution in text for caution in CAUTIONS) for text in said] == [True, False]
    assert [POINTER in text for text in said] == [False, True]
    assert "changed since it began, and read anew: profile" in said[1]
    assert "changed since it began, and not taken up: design;" in said[1]
    assert staddle("cautions").stdout.splitlines() == list(CAUTIONS)


def test_hosts_passed_over_are_grouped_and_fit_a_hundred_columns(job: Path) -> None:
    done = staddle("place", job=job)
    assert done.returncode == 0
    assert max(len(line) for line in done.stdout.splitlines()) <= 100
    # One line says it of six hosts and three members.
    assert done.stdout.count("it is not at site Ousemoor") == 1
    assert (
        "  tg-h01, tg-h02, tg-h03, tg-h04, fl-h01, fl-h02: site: it is not at site Ousemoor\n" in done.stdout
    )
    # Every host is either taken or passed over, for every member.
    for member in ("levels-1", "levels-2", "levels-3"):
        told = "".join(
            part
            for part in re.split(r"\n(?=passed over)", done.stdout)
            if part.startswith((f"passed over for {member}\n", "passed over for every member\n"))
        )
        taken = re.search(rf"^{member}  (\S+)", done.stdout, re.MULTILINE)
        assert taken is not None
        everybody = (
            {f"om-h0{n}" for n in range(1, 9)} | {f"tg-h0{n}" for n in range(1, 5)} | {"fl-h01", "fl-h02"}
        )
        lines = [line.split(": ", 1)[0] for line in told.splitlines() if ": " in line]
        names = {name.strip() for line in lines for name in line.split(", ")}
        assert names | {taken[1]} >= everybody
    # Talk is on the other channel.
    assert "looking for any placement" in done.stderr
    assert "looking for" not in done.stdout
