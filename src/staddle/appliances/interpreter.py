"""The profile interpreter: an Appliance made of a profile's blocks and a wire.

It sends on the pinned connection, judges the status, and keeps what the profile names. It knows the acts' names and
what they must keep, and nothing of any one appliance. How ``${name}`` is filled in stands in filling.py.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

import jmespath

from staddle.appliances.checking import profile_faults
from staddle.appliances.filling import Values, filled_body, filled_path, filled_query
from staddle.design.profile import Ask, Block, Profile
from staddle.kernel import InputRefused, OutcomeUnknown, OutsideFailed
from staddle.kernel.clock_offset import clock_offset
from staddle.plan.looks import Look, NotYet, Seen
from staddle.plan.ports import Health, SeenMember, Target, View, Wire, WireReply
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import Redactor, Secret

__all__ = ["ProfiledAppliance"]

_SENT: Final = "sent at"  # blanks keep these two apart from the names that a profile can give
_RECEIVED: Final = "received at"
_SEEN_KEYS: Final = ("name", "address", "fingerprint", "heard")


class ProfiledAppliance:
    """The Appliance port by a profile.

    Raises: InputRefused: the profile lacks something, all faults at once.
    """

    def __init__(self, profile: Profile, wire: Wire, *, where: str = "profile") -> None:
        if faults := profile_faults(profile, where=where):
            raise InputRefused(*faults)
        self._profile = profile
        self._wire = wire
        self.port = profile.port
        self.user = profile.user
        self.password_property = profile.password_property

    async def health(self, target: Target) -> Health | NotYet:
        kept = await self._kept("health", target, {})
        if isinstance(kept, NotYet):
            return kept
        try:
            return self._health(kept)
        except (ValueError, TypeError) as exc:
            raise self._unlike("health", target, "it does not tell all of its health in its form") from exc

    def _health(self, kept: Mapping[str, Any]) -> Health:
        theirs = datetime.fromisoformat(str(kept["time"]))
        if theirs.tzinfo is None:
            raise ValueError("a time without its zone")
        # T2 = T3: the member tells one instant only, so its own delay counts into the error.
        offset = clock_offset(sent=kept[_SENT], received=theirs, answered=theirs, arrived=kept[_RECEIVED])
        return Health(
            healthy=bool(kept["healthy"]),
            in_cluster=bool(kept["in_cluster"]),
            name=str(kept["name"]),
            version=str(kept["version"]),
            processors=int(kept["processors"]),
            memory_mib=int(kept["memory_mib"]),
            clock_offset_ms=offset.offset_ms,
        )

    async def view(self, target: Target) -> View | NotYet:
        kept = await self._kept("view", target, {})
        if isinstance(kept, NotYet):
            return kept
        rows = kept["members"] or ()
        if not isinstance(rows, (list, tuple)) or not all(
            isinstance(row, dict) and all(row.get(key) is not None for key in _SEEN_KEYS) for row in rows
        ):
            raise self._unlike("view", target, "its members do not all have " + ", ".join(_SEEN_KEYS))
        members = tuple(
            SeenMember(
                name=str(m["name"]),
                address=str(m["address"]),
                fingerprint=_pairs(str(m["fingerprint"])),
                heard=bool(m["heard"]),
            )
            for m in rows
        )
        return View(
            cluster_id=str(kept["cluster_id"]),
            cluster=str(kept["cluster"]),
            leader=str(kept["leader"] or ""),
            deputy=str(kept["deputy"] or ""),
            members=members,
        )

    async def found(self, target: Target, cluster: str) -> None:
        await self._must("found", target, {"cluster": cluster})

    async def issue_join_secret(self, leader: Target, member: str, lifetime_s: int) -> Secret:
        kept = await self._must(
            "issue-join-secret", leader, {"joiner": member, "lifetime_s": str(lifetime_s)}
        )
        if not isinstance(kept["secret"], str) or not kept["secret"]:
            raise self._unlike("issue-join-secret", leader, "it does not hold the secret")
        return Secret(kept["secret"])

    async def join(self, target: Target, leader: Target, secret: Secret) -> None:
        values: Values = {
            "leader_address": leader.address,
            "leader_port": str(leader.port),
            "leader_fingerprint": leader.pinned.text,
            "leader_fingerprint_digits": leader.pinned.digest.hex(),
            "join_secret": secret,
        }
        await self._must("join", target, values)

    async def carry_act(self, act: str, target: Target, values: Mapping[str, str]) -> None:
        await self._must(act, target, values)

    async def look_act(self, act: str, target: Target, values: Mapping[str, str]) -> Look:
        kept = await self._kept(act, target, values)
        if isinstance(kept, NotYet):
            return kept
        return Seen(evidence={name: value for name, value in kept.items() if name not in (_SENT, _RECEIVED)})

    async def change_password(self, leader: Target, new: Secret) -> None:
        await self._must("change-password", leader, {"new_password": new})

    async def accepts(self, target: Target) -> bool:
        kept: dict[str, Any] = {}
        for block in self._profile.acts["view"]:
            told = _told({}, kept)
            reply = await self._send(block, target, told)
            if block.ask.signed_in:
                if reply.status in (401, 403):  # RFC 9110 §15.5: not, or not sufficiently, authenticated
                    return False
                if reply.status in (*block.expect.status, *block.expect.not_yet):
                    return True
            if reply.status not in block.expect.status:
                raise self._refusal("view", target, reply, told)
            kept |= self._found("view", target, block, reply)
        raise OutsideFailed.one('act "view" is never signed in', where="profile")  # profile_faults sees to it

    async def write(self, target: Target, key: str, value: str) -> None:
        await self._must("write", target, {"key": key, "value": value})

    async def read(self, target: Target, key: str) -> str | None:
        kept = await self._kept("read", target, {"key": key})
        return None if isinstance(kept, NotYet) or kept["value"] is None else str(kept["value"])

    async def _must(self, act: str, target: Target, values: Values) -> Mapping[str, Any]:
        kept = await self._kept(act, target, values)
        if isinstance(kept, NotYet):
            raise OutsideFailed.one(
                f"{target.member} is not ready: {kept.why}", where=act, mend="run the same command again"
            )
        return kept

    async def _kept(self, act: str, target: Target, values: Values) -> Mapping[str, Any] | NotYet:
        kept: dict[str, Any] = {}
        changed = False  # whether the appliance has already taken a change from this act
        for block in self._profile.acts[act]:
            told = _told(values, kept)
            reply = await self._send(block, target, told)
            expect = block.expect
            if reply.status in expect.unknown:
                raise OutcomeUnknown.one(
                    f"{target.member} does not know whether it happened: {self._sentence(reply, target, told)}",
                    where=act,
                )
            if reply.status not in (*expect.not_yet, *expect.status):
                refusal = self._refusal(act, target, reply, told)
                raise OutcomeUnknown(*refusal.faults) if changed else refusal
            taken = reply.status in expect.status
            changed = changed or (taken and block.ask.method != "GET")
            late = None if taken else self._sentence(reply, target, told) or _status(reply)
            if taken and expect.where and not self._holds(act, target, expect.where, told, reply):
                late = f"its reply does not yet satisfy: {expect.where}"
            if late is not None:
                if changed:
                    raise OutcomeUnknown.one(f"{target.member} has not finished: {late}", where=act)
                return NotYet(why=late)
            kept |= {_SENT: reply.sent_at, _RECEIVED: reply.received_at}
            kept |= self._found(act, target, block, reply)
        return kept

    def _found(self, act: str, target: Target, block: Block, reply: WireReply) -> dict[str, Any]:
        return {name: self._search(act, target, query, reply) for name, query in block.keep.items()}

    def _holds(self, act: str, target: Target, where: str, told: Values, reply: WireReply) -> bool:
        return bool(self._search(act, target, filled_query(where, told), reply))

    def _search(self, act: str, target: Target, query: str, reply: WireReply) -> Any:  # noqa: ANN401  JSON
        try:
            return jmespath.search(query, reply.body)
        except jmespath.exceptions.JMESPathError as exc:  # for example the length of nothing
            # Its text may quote the reply, and a reply may hold a secret.
            raise self._unlike(act, target, "an expression of the profile does not fit it") from exc

    async def _send(self, block: Block, target: Target, values: Values) -> WireReply:
        ask: Ask = block.ask
        body = {key: filled_body(item, values) for key, item in ask.send.items()}
        return await self._wire.call(
            target.address,
            target.port,
            pinned=target.pinned,
            method=ask.method,
            path=filled_path(ask.path, values),
            user=target.user if ask.signed_in else "",
            secret=target.secret if ask.signed_in else None,
            body=body if ask.send or ask.method == "POST" else None,
            timeout_s=block.deadline_span.total_seconds(),
        )

    def _sentence(self, reply: WireReply, target: Target, told: Values) -> str:
        if not isinstance(reply.body, dict):
            return ""
        try:
            text = str(jmespath.search(self._profile.message, reply.body) or "")
        except jmespath.exceptions.JMESPathError:
            return ""
        # An appliance may quote what it was sent; what it says goes into the journal.
        sent = [value for value in (target.secret, *told.values()) if isinstance(value, Secret)]
        return Redactor(sent).redact(text)

    def _refusal(self, act: str, target: Target, reply: WireReply, told: Values) -> OutsideFailed:
        return OutsideFailed.one(
            f"{target.member} refuses: {self._sentence(reply, target, told) or 'no reason given'}",
            where=f"act {act} at {target.address} port {target.port}, status {reply.status}",
            mend="mend what it names, then run the same command again",
        )

    def _unlike(self, act: str, target: Target, why: str) -> OutcomeUnknown:
        return OutcomeUnknown.one(
            f"{target.member} gave a reply that the profile does not know",
            where=f"act {act} at {target.address} port {target.port}",
            why=why,
            mend="compare the profile with the appliance's version; correct the profile",
        )


def _told(values: Values, kept: Mapping[str, Any]) -> Values:
    """What a block may name: what the step handed in, and what earlier blocks have kept."""
    return {
        **values,
        **{name: str(value) for name, value in kept.items() if name not in (_SENT, _RECEIVED)},
    }


def _pairs(fingerprint: str) -> str:
    """A listed fingerprint in the form in which all are compared; what is none is left as it was told."""
    try:
        return Fingerprint.parse(fingerprint).text
    except InputRefused:
        return fingerprint


def _status(reply: WireReply) -> str:
    return f"it answers with status {reply.status}"
