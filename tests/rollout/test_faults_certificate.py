"""Somebody else answers on a member's address: that member stops with both fingerprints told, the other goes on."""

import asyncio
from pathlib import Path

import pytest

from staddle.rollout.states import Event
from staddle.trust.fingerprints import find_fingerprints
from tests.probes.loopback_servers import identity
from tests.rollout.hooked_job import (
    carry,
    fault_of,
    hook,
    impostor,
    job_in,
    real_place,
    run_out,
    stopped_here,
)


@pytest.mark.parametrize("moment", ["before it is confirmed", "after it was confirmed"])
def test_another_certificate_stops_the_member_at_once(tmp_path: Path, moment: str) -> None:
    before = moment == "before it is confirmed"
    with job_in(tmp_path) as job:
        member = job.head.plan.members[1]
        machine = job.private / "loopback/hosts" / member.host / member.machine
        other, put_in_place = impostor(job, 2, machine / "lock")
        hook(job, f"levels-2/{'await-answer' if before else 'confirm-fingerprint'}", Event.SEEN, put_in_place)
        run = carry(job)
        step = "levels-2/confirm-fingerprint" if before else "levels-2/await-healthy"
        stopped_here(run, step)
        other.stop()
        (expected,) = find_fingerprints((machine / "console").read_text())
        seen = identity("impostor").fingerprint
        address, port = real_place(job, 2)
        assert fault_of(run, step) == (
            "the certificate of levels-2 is not the one its second channel shows\n"
            "  where: 192.0.2.62 port 8443\n"
            f"  why:   expected {expected}, seen {seen}: another machine answers, or one stands between\n"
            "  try:   stop; find out who answers on that address before anything is typed into it"
            if before
            else f"{address}:{port} shows another certificate than the confirmed one\n"
            f"  where: {address}:{port}\n"
            f"  why:   expected {expected}, seen {seen}\n"
            "  try:   find out who answers there and why, on the appliance's own console; nothing was sent to it"
        )
        asyncio.run(job.platform.power_on(job.head.plan, member))  # whoever mends it starts the machine again
        run_out(job)
