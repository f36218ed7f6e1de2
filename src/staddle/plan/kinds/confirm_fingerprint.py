"""Confirm the member's certificate: the second channel's fingerprint first, the wire's after it, in full."""

from staddle.kernel import Fault, InputRefused
from staddle.plan.kind import Facts, Minutes
from staddle.plan.looks import Card, Look, NeedsPerson, NotYet, Seen, Wrong
from staddle.plan.orders import MemberOrder, Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind
from staddle.trust.fingerprints import Fingerprint, find_fingerprints, fingerprint_of


class ConfirmFingerprint(RunningKind):
    facts = Facts(
        name="confirm-fingerprint",
        title="confirm the fingerprint",
        goal="the certificate on the wire is the one that the member's console shows",
        probe="the console is read before the wire; both fingerprints are compared in full length",
        acts=False,
        restarts=True,
        minutes=Minutes(optimistic=0.1, likely=2, pessimistic=10),
        deadline_s=120,
    )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        expected = await self._second_channel(step, member, tools)
        if not isinstance(expected, Fingerprint):
            return expected
        der = await tools.wire.read_certificate(member.address, member.port, timeout_s=5)
        if isinstance(der, NotYet):
            return der
        seen = fingerprint_of(der)
        if seen != expected:
            return Wrong(
                fault=Fault(
                    what=f"the certificate of {member.member} is not the one its second channel shows",
                    where=f"{member.address} port {member.port}",
                    why=f"expected {expected.text}, seen {seen.text}: another machine answers, or one stands between",
                    mend="stop; find out who answers on that address before anything is typed into it",
                )
            )
        return Seen(evidence={"fingerprint": seen.text, "second_channel": self._channel(tools)})

    def _channel(self, tools: Tools) -> str:
        return (
            "entered by a person" if tools.plan.fingerprint_source == "entered" else "the machine's console"
        )

    async def _second_channel(self, step: Step, member: MemberOrder, tools: Tools) -> Fingerprint | Look:
        signed = tools.signature(step.step_id)
        if signed is not None:
            try:
                return Fingerprint.parse(signed.entry)
            except InputRefused as exc:
                return Wrong(fault=exc.faults[0])
        card: Card | None = None
        if tools.plan.fingerprint_source == "entered":
            card = Card(
                title=f"Read the fingerprint of {member.member} on a second channel",
                lines=(
                    "Open the machine's console, or ask whoever stands before it.",
                    "Type the SHA-256 fingerprint in full.",
                ),
                entry="SHA-256 fingerprint",
            )
        else:
            console = await tools.platform.read_console(tools.plan, member)
            if isinstance(console, Card):
                card = console
            else:
                return self._read(member, find_fingerprints(console.text))
        return NeedsPerson(card=card)

    def _read(self, member: MemberOrder, shown: tuple[Fingerprint, ...]) -> Fingerprint | Look:
        if not shown:
            return NotYet(why="the console shows no fingerprint yet")
        if len(shown) > 1:
            return Wrong(
                fault=Fault(
                    what=f"the console of {member.member} shows {len(shown)} different fingerprints",
                    where=f"{member.machine} on {member.host}",
                    why="the text alone does not say which certificate the member serves now",
                    mend="look at the console; if the member has made a new certificate, find out why before it is trusted",
                )
            )
        return shown[0]


KIND = ConfirmFingerprint()
