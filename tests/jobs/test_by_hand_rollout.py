"""A whole rollout by hand: the program on a terminal, a test that plays the person with nothing but what the cards show.

The person starts a real stand-in with exactly the values of the cards, reads the fingerprint from its console, and
signs the rest. So a card that lacked a value would show here.
"""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from staddle.package import read_package
from tests.cli.demo_job import PACKAGE, PROGRAM, free_block, loopback_job, settle, staddle
from tests.cli.terminal import Terminal
from tests.standin.cluster import environment_document, until

ROOT = Path(__file__).parents[2]
SECRET_NOTE = "   (secret: type it, do not write it down)"


@dataclass(kw_only=True)
class Card:
    """One card as a person reads it."""

    member: str
    step: str
    title: str
    lines: list[str] = field(default_factory=list)
    values: dict[str, str] = field(default_factory=dict)
    entry: bool = False

    @classmethod
    def read(cls, text: str) -> "Card":
        """From what stands on the screen between the card's rule and its question."""
        _, member, step = re.findall(r"── card (\d+) · (\S+) · (\S+)", text)[-1]
        body = text[text.rindex("── card") :].splitlines()[1:]
        card = cls(member=member, step=step, title=body[0], entry="or an empty line to leave it" in body[-1])
        for line in body[1:-1]:
            if value := re.fullmatch(r" {5}(.+?) {2,}(\S.*)", line):
                card.values[value[1]] = value[2]
            else:
                card.lines.append(line.strip())
        return card


class Person:
    """Does what the cards say. Machines are stand-ins, each below a folder of its own; ended by their ids."""

    def __init__(self, folder: Path, package: Path) -> None:
        self.folder = folder
        self.cards: list[Card] = []
        self.machines: dict[str, dict[str, str]] = {}
        self.processes: list[subprocess.Popen[bytes]] = []
        self.first_password = ""
        self.properties = {p.label: p for p in read_package(package).properties if p.user_configurable}

    def close(self) -> None:
        """End every machine."""
        for process in self.processes:
            process.kill()
            process.wait(timeout=20)

    def answer(self, card: Card) -> str:
        """Do what the card says. Returns: what is typed back."""
        self.cards.append(card)
        if card.title.startswith("Create machine"):
            self.machines[card.member] = dict(card.values)
        elif card.title.startswith("Type the answers"):
            self._type_answers(card)
        elif card.title.startswith("Power on"):
            self._power_on(card)
        return self.fingerprint(card.member) if card.entry else ""

    def _type_answers(self, card: Card) -> None:
        # "leave what is not listed as it is": the package's own defaults.
        answers = {p.bare_key: p.default_for("river") for p in self.properties.values()}
        for label, shown in card.values.items():
            answers[self.properties[label].bare_key] = shown.removesuffix(SECRET_NOTE)
            if shown.endswith(SECRET_NOTE):
                self.first_password = shown.removesuffix(SECRET_NOTE)
        place = self.folder / card.member
        place.mkdir(parents=True, exist_ok=True)
        (place / "ovf-env.xml").write_text(environment_document(answers), encoding="utf-8")

    def _power_on(self, card: Card) -> None:
        machine, place = self.machines[card.member], self.folder / card.member
        memory_gib = machine["memory"].removesuffix(" GiB")
        command = [sys.executable, "-m", "staddle.standin", "--answers", str(place / "ovf-env.xml")]
        command += ["--state", str(place / "state"), "--console", str(place / "console.txt")]
        command += ["--processors", machine["processors"], "--memory-mib", str(int(memory_gib) * 1024)]
        command += ["--speed", "0.15"]
        with (place / "talk.txt").open("ab") as talk:
            self.processes.append(
                subprocess.Popen(
                    command,
                    stdin=subprocess.DEVNULL,
                    stdout=talk,
                    stderr=talk,
                    env={"PYTHONPATH": str(ROOT / "src")},
                )
            )

    def machine_address(self, member: str) -> str:
        """Which address was typed for it."""
        card = next(c for c in self.cards if c.step == f"{member}/attach-answers")
        return card.values["Management address"]

    def fingerprint(self, member: str) -> str:
        """As the machine's console shows it."""
        console = self.folder / member / "console.txt"

        def shown() -> str:
            found = re.findall(
                r"^certificate SHA-256 (\S+)$", console.read_text(encoding="utf-8"), re.MULTILINE
            )
            return str(found[-1]) if found else ""

        return str(until(shown, what="the console's fingerprint"))


@contextmanager
def at_work(root: Path) -> Iterator[tuple[Path, Person]]:
    """The job with a settled placement, and the person who will carry it out."""
    job = loopback_job(root, block=free_block())
    settle(job)
    person = Person(root / "machines", root / PACKAGE)
    try:
        yield job, person
    finally:
        person.close()


def terminal(job: Path) -> Terminal:
    """The rollout on a terminal."""
    return Terminal([PROGRAM, "rollout", "--job", str(job)], out=job.parent / "printed.txt")


def next_card(desk: Terminal) -> Card | None:
    """The card that is shown next; None when the program ends instead."""
    text = desk.wait_for(
        r'(?:Done\? A note or an empty line signs it; "later" leaves it:|leave it for later:)'
    )
    return None if text is None else Card.read(text)


def journal(job: Path) -> dict[str, list[dict[str, Any]]]:
    """The entries of the exported journal by step."""
    lines = (job / "records" / "levels-rollout-1" / "journal.jsonl").read_text(encoding="utf-8").splitlines()
    entries: dict[str, list[dict[str, Any]]] = {}
    for line in lines[1:-1]:
        entry = json.loads(line)["entry"]
        entries.setdefault(entry["step_id"], []).append(entry)
    return entries


def test_cards_are_enough_to_carry_a_whole_rollout(tmp_path: Path) -> None:
    with at_work(tmp_path) as (job, person), terminal(job) as desk:
        while card := next_card(desk):
            desk.type(person.answer(card))
        assert desk.exit_code() == 0, desk.said[-3000:]
        assert desk.printed() == "levels-rollout-1 is sealed: 40 of 40 steps seen done\n"
        # By hand: 2 disks, machine, answers, power, fingerprint and eject for each of 3 members.
        assert len(person.cards) == len({card.step for card in person.cards}) == 3 * 7

        entries = journal(job)
        for member in ("levels-1", "levels-2", "levels-3"):
            for kind in (
                "deliver-disk/system",
                "create-machine",
                "attach-answers",
                "power-on",
                "eject-answers",
            ):
                done = entries[f"{member}/{kind}"][-1]
                assert (done["event"], done["evidence"]["seen"]) == ("seen done", False), (member, kind)
                assert done["evidence"]["signed_by"] == "R. Fenwold"
            confirmed = entries[f"{member}/confirm-fingerprint"][-1]["evidence"]
            assert confirmed["fingerprint"] == person.fingerprint(member)
            assert "seen" not in entries[f"{member}/await-healthy"][-1]["evidence"]

        proven = staddle("prove", "--json", job=job)
        assert json.loads(proven.stdout)["outcome"] == "good", proven.stdout
        assert person.first_password
        kept = [path for path in tmp_path.rglob("*") if path.is_file() and "machines" not in path.parts]
        assert any(path.name == "journal.sqlite" for path in kept)
        for path in kept:
            assert person.first_password.encode() not in path.read_bytes(), path
    assert (job / "private").stat().st_mode & 0o777 == 0o700


def test_a_wrong_fingerprint_stops_its_member_and_is_asked_for_again(tmp_path: Path) -> None:
    stranger = ":".join(["E7"] * 32)
    with at_work(tmp_path) as (job, person):
        with terminal(job) as desk:
            while card := next_card(desk):
                right = person.answer(card)
                desk.type(stranger if card.entry and card.member == "levels-2" else right)
            assert desk.exit_code() == 1
            seen = person.fingerprint("levels-2")
            assert desk.printed().splitlines()[1:] == [
                "refused: levels-2: confirm the fingerprint",
                "  the certificate of levels-2 is not the one its second channel shows",
                f"    where: {person.machine_address('levels-2')} port 8443",
                f"    why:   expected {stranger}, seen {seen}: another machine answers, or one stands between",
                "    try:   stop; find out who answers on that address before anything is typed into it",
                "the same command goes on from here",
            ]
        entries = journal(job)
        assert entries["levels-2/confirm-fingerprint"][-1]["event"] == "refused"
        # The others went on as far as they could without it; nothing was ever sent to the stranger.
        assert entries["levels-3/join"][-1]["event"] == "seen done"
        assert not {"levels-2/await-healthy", "levels-2/join", "cluster/prove"} & set(entries)

        with terminal(job) as desk:
            card = next_card(desk)
            assert card is not None
            assert (card.step, card.entry) == ("levels-2/confirm-fingerprint", True)
            desk.type(person.answer(card))
            while card := next_card(desk):
                assert card.title.startswith("Eject the answers")
                desk.type("")
            assert desk.exit_code() == 0, desk.said[-3000:]


def test_the_end_of_input_leaves_the_cards_and_the_same_command_goes_on(tmp_path: Path) -> None:
    with at_work(tmp_path) as (job, _):
        first = staddle("rollout", job=job)
        assert first.returncode == 1
        disks = [f"levels-{n}: deliver the disk {disk}" for n in (1, 2, 3) for disk in ("system", "data")]
        assert first.stdout.splitlines() == [
            "levels-rollout-1 stands at 2 of 40 steps",
            *(f"awaits a person: {disk}" for disk in disks),
            "the same command goes on from here",
        ]
        again = staddle("rollout", job=job, typed="\nlater\ndone by the night shift\n")
        assert again.returncode == 1
        assert again.stdout.startswith("levels-rollout-1 stands at 4 of 40 steps\n")
        signed = journal(job)
        notes = [
            entry["evidence"].get("note")
            for entries in signed.values()
            for entry in entries
            if entry["event"] == "seen done" and "signed_by" in entry["evidence"]
        ]
        assert sorted(notes, key=str) == [None, "done by the night shift"]


def test_secrets_are_not_shown_where_no_terminal_is(tmp_path: Path) -> None:
    # Both disks and the machine of every member are signed: then the cards with the answers come.
    with at_work(tmp_path) as (job, _):
        done = staddle("rollout", job=job, typed="\n" * 9)
    assert "Type the answers of levels-1" in done.stderr
    assert "(secret: shown on a terminal only, and this is none)" in done.stderr
    assert "type it, do not write it down" not in done.stderr
