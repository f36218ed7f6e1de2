"""Who leads: standing, voting, stepping down. Not here: heartbeats themselves (heartbeat.py).

A member asks on trial before it raises the term, and a member that hears a leader refuses: so one that was cut off or
stopped for a while does not unseat a leader that all others hear.
"""

import queue
import random
import threading
import time
from typing import Any

from staddle.standin.core import Core
from staddle.standin.dial import FingerprintDiffers, Pinned, Unreachable
from staddle.standin.document import majority_of
from staddle.standin.heartbeat import Heartbeats, require_cluster
from staddle.standin.refusal import Refusal

__all__ = ["on_vote", "watch"]


def watch(core: Core, heartbeats: Heartbeats) -> None:
    """Run for ever: start missing senders, step down without a majority, stand when the leader is not heard."""
    jitter, not_before = random.random(), 0.0
    while True:
        heartbeats.look()
        with core.lock:
            if core.leads and not core.hears_majority():
                core.step_down("a majority is not heard")
            now = time.monotonic()
            due = (
                core.document is not None and not core.leads and now >= max(_due_at(core, jitter), not_before)
            )
        if due:
            try:
                _stand(core)
            except Refusal as refused:
                with core.lock:
                    core.leads = False
                    core.say(f"cannot stand: {refused.message}")
            jitter = random.random()
            not_before = time.monotonic() + core.pace.heartbeat_s * (1 + 2 * jitter)
        time.sleep(core.pace.heartbeat_s / 4)


def _due_at(core: Core, jitter: float) -> float:
    """When this member may stand: the deputy first, others later, sooner where no deputy is heard."""
    document = core.document
    assert document is not None
    detection_s, deputy = core.pace.detection_s, document["deputy"]
    if not core.others():
        wait_s = 0.0
    elif deputy == core.me:
        wait_s = detection_s
    else:
        heard_at = core.peers[deputy].heard_at if deputy in core.peers else None
        deputy_is_near = heard_at is not None and time.monotonic() - heard_at < detection_s
        wait_s = detection_s * ((2 if deputy_is_near else 1) + jitter)
    return core.leader_heard_at + wait_s


def _stand(core: Core) -> None:
    with core.lock:
        term = core.term
    if not _has_majority(core, term + 1, trial=True):
        return
    with core.lock:
        if core.term != term or core.leads:
            return
        core.leader = None
        core.save(term=term + 1, vote=core.me)
    if not _has_majority(core, term + 1, trial=False):
        return
    with core.lock:
        if core.term == term + 1 and not core.leads:
            core.become_leader()


def _has_majority(core: Core, term: int, *, trial: bool) -> bool:
    """Ask every other member for its vote at the same time; True as soon as a majority, with one's own, is there."""
    with core.lock:
        document, key = core.document, core.key
        assert document is not None
        question = {
            "cluster": document["cluster"]["id"],
            "from": core.me,
            "term": term,
            "version": core.version,
            "trial": trial,
        }
        asked = [document["members"][name] for name in core.others()]
    answers: queue.SimpleQueue[bool] = queue.SimpleQueue()
    for record in asked:
        threading.Thread(target=_ask, args=(core, record, key, question, answers), daemon=True).start()
    granted = 1
    for _ in asked:
        if granted >= majority_of(document):
            break
        granted += answers.get()  # each question ends by its time-out
    return granted >= majority_of(document)


def _ask(
    core: Core, record: dict[str, Any], key: str, question: dict[str, Any], answers: "queue.SimpleQueue[bool]"
) -> None:
    link = Pinned(
        core.reach.place(record["address"], record["port"]),
        record["fingerprint"],
        timeout_s=core.pace.detection_s / 2,
    )
    granted = False
    try:
        reply = link.call("/v1/peer/vote", question, key=key)
        granted = reply["granted"] is True
        if not question["trial"]:
            with core.lock:
                core.see_term(reply["term"])
    except (Unreachable, FingerprintDiffers, Refusal):
        granted = False
    finally:
        link.close()
        answers.put(granted)


def on_vote(core: Core, body: dict[str, Any]) -> dict[str, Any]:
    """Answer a question for this member's vote; a real vote is on disk before it is given."""
    with core.lock:
        candidate = require_cluster(core, body)
        term, version = int(body["term"]), (body["version"][0], body["version"][1])
        # Two heartbeats less than the detection time: the candidate may have missed the last one.
        window_s = core.pace.detection_s - 2 * core.pace.heartbeat_s
        silent_s = time.monotonic() - core.leader_heard_at
        has_leader = core.leads or (core.leader is not None and silent_s < window_s)
        if has_leader or version < core.version:
            granted = False
        elif body["trial"]:
            granted = term > core.term
        else:
            core.see_term(term)
            granted = term == core.term and core.vote in (None, candidate)
            if granted:
                core.save(vote=candidate)
                core.leader_heard_at = time.monotonic()
        return {"term": core.term, "granted": granted}
