"""The profile interpreter: an Appliance made of a profile's blocks and a wire.

It fills ``${name}`` in paths and bodies, sends on the pinned connection, judges the status, and keeps what the
profile names. It knows the acts' names and what they must keep, and nothing of any one appliance.
"""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

import jmespath

from staddle.design.profile import Ask, Block, Profile
from staddle.kernel import Fault, InputRefused, OutcomeUnknown, OutsideFailed
from staddle.plan.looks import Look, NotYet, Seen
from staddle.plan.ports import Health, SeenMember, Target, View, Wire, WireReply
from staddle.trust.secrets import Secret

__all__ = ["NEEDED_ACTS", "ProfiledAppliance", "profile_faults"]

NEEDED_ACTS: Final = {
    "health": ("healthy", "in_cluster", "name", "version", "processors", "memory_mib", "time"),
    "view": ("cluster_id", "cluster", "leader", "deputy", "members"),
    "found": (),
    "issue-join-secret": ("secret",),
    "join": (),
    "change-password": (),
    "write": (),
    "read": ("value",),
}
"""The acts that every profile has, and what each must keep."""

_SENT: Final = "sent at"  # blanks keep these two apart from the names that a profile can give
_RECEIVED: Final = "received at"
_HOLE: Final = re.compile(r"\$\{([a-z_.]+)(:number)?\}")


def profile_faults(profile: Profile, *, where: str) -> tuple[Fault, ...]:
    """Everything that would stop the profile from working: missing acts, things not kept, bad expressions."""
    faults = []
    for act, kept in NEEDED_ACTS.items():
        if act not in profile.acts:
            faults.append(
                Fault(what=f'the profile has no act "{act}"', where=f"{where}: acts", mend="add its blocks")
            )
            continue
        names = {name for block in profile.acts[act] for name in block.keep}
        faults += [
            Fault(
                what=f'act "{act}" does not keep "{name}"',
                where=f"{where}: acts.{act}",
                mend="add it to keep",
            )
            for name in kept
            if name not in names
        ]
    for line in profile.cluster:
        faults += [
            Fault(
                what=f'cluster step "{line.step}" names act "{act}", which the profile does not have',
                where=where,
            )
            for act in (line.act, line.look)
            if act not in profile.acts
        ]
    for act, blocks in profile.acts.items():
        for block in blocks:
            for expression in (*block.keep.values(), *filter(None, [block.expect.where])):
                try:
                    jmespath.compile(expression)
                except jmespath.exceptions.JMESPathError as exc:
                    what = f'act "{act}": "{expression}" is not JMESPath: {exc}'
                    faults.append(Fault(what=what, where=f"{where}: acts.{act}"))
    return tuple(faults)


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
        theirs = datetime.fromisoformat(str(kept["time"])).astimezone(UTC)
        # RFC 5905 §8 with T2 = T3: the member tells one instant only, so its own delay counts into the error.
        offset = ((theirs - kept[_SENT]) + (theirs - kept[_RECEIVED])) / 2
        return Health(
            healthy=bool(kept["healthy"]),
            in_cluster=bool(kept["in_cluster"]),
            name=str(kept["name"]),
            version=str(kept["version"]),
            processors=int(kept["processors"]),
            memory_mib=int(kept["memory_mib"]),
            clock_offset_ms=offset.total_seconds() * 1000,
        )

    async def view(self, target: Target) -> View | NotYet:
        kept = await self._kept("view", target, {})
        if isinstance(kept, NotYet):
            return kept
        members = tuple(
            SeenMember(
                name=str(m["name"]),
                address=str(m["address"]),
                fingerprint=str(m["fingerprint"]),
                heard=bool(m["heard"]),
            )
            for m in kept["members"] or ()
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
        return Secret(str(kept["secret"]))

    async def join(self, target: Target, leader: Target, secret: Secret) -> None:
        values: dict[str, str | Secret] = {
            "leader_address": leader.address,
            "leader_port": str(leader.port),
            "leader_fingerprint": leader.pinned.text,
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
        block = self._profile.acts["view"][0]
        reply = await self._send(block, target, {})
        if reply.status in (401, 403):  # RFC 9110 §15.5: not, or not sufficiently, authenticated
            return False
        if reply.status in (*block.expect.status, *block.expect.not_yet):
            return True
        raise self._refusal("view", target, reply)

    async def write(self, target: Target, key: str, value: str) -> None:
        await self._must("write", target, {"key": key, "value": value})

    async def read(self, target: Target, key: str) -> str | None:
        kept = await self._kept("read", target, {"key": key})
        return None if isinstance(kept, NotYet) else str(kept["value"])

    async def _must(self, act: str, target: Target, values: Mapping[str, str | Secret]) -> Mapping[str, Any]:
        kept = await self._kept(act, target, values)
        if isinstance(kept, NotYet):
            raise OutsideFailed.one(
                f"{target.member} is not ready: {kept.why}", where=act, mend="run the same command again"
            )
        return kept

    async def _kept(
        self, act: str, target: Target, values: Mapping[str, str | Secret]
    ) -> Mapping[str, Any] | NotYet:
        kept: dict[str, Any] = {}
        for block in self._profile.acts[act]:
            told = {**values, **{name: str(value) for name, value in kept.items()}}
            reply = await self._send(block, target, told)
            expect = block.expect
            if reply.status in expect.not_yet:
                return NotYet(why=self._sentence(reply) or f"it answers with status {reply.status}")
            if reply.status in expect.unknown:
                raise OutcomeUnknown.one(
                    f"{target.member} does not know whether it happened: {self._sentence(reply)}", where=act
                )
            if reply.status not in expect.status:
                raise self._refusal(act, target, reply)
            if expect.where and not jmespath.search(self._filled_query(expect.where, told), reply.body):
                return NotYet(why=f"its reply does not yet satisfy: {expect.where}")
            kept |= {_SENT: reply.sent_at, _RECEIVED: reply.received_at}
            kept |= {name: jmespath.search(query, reply.body) for name, query in block.keep.items()}
        return kept

    async def _send(self, block: Block, target: Target, values: Mapping[str, str | Secret]) -> WireReply:
        ask: Ask = block.ask
        body = {key: self._filled_value(item, values) for key, item in ask.send.items()}
        return await self._wire.call(
            target.address,
            target.port,
            pinned=target.pinned,
            method=ask.method,
            path=str(self._filled(ask.path, values)),
            user=target.user if ask.signed_in else "",
            secret=target.secret if ask.signed_in else None,
            body=body if ask.send or ask.method == "POST" else None,
            timeout_s=block.deadline_span.total_seconds(),
        )

    def _filled_value(self, item: str | int | bool, values: Mapping[str, str | Secret]) -> str | int | bool:
        if not isinstance(item, str):
            return item
        text = self._filled(item, values)
        return int(text) if item.endswith(":number}") else text

    def _filled(self, text: str, values: Mapping[str, str | Secret]) -> str:
        def value(match: re.Match[str]) -> str:
            try:
                found = values[match[1]]
            except KeyError as exc:
                raise InputRefused.one(
                    f'the profile asks for "${{{match[1]}}}", which is not known here',
                    why="known are: " + ", ".join(sorted(values)),
                    mend="correct the profile",
                ) from exc
            return found.unsafe_reveal() if isinstance(found, Secret) else found

        return _HOLE.sub(value, text)

    def _filled_query(self, query: str, values: Mapping[str, str | Secret]) -> str:
        # A value inside a JMESPath raw string: its quote and backslash are escaped (JMESPath grammar, raw-string).
        quoted = {
            name: value.replace("\\", "\\\\").replace("'", "\\'")
            for name, value in values.items()
            if isinstance(value, str)
        }
        return self._filled(query, quoted)

    def _sentence(self, reply: WireReply) -> str:
        return (
            str(jmespath.search(self._profile.message, reply.body) or "")
            if isinstance(reply.body, dict)
            else ""
        )

    def _refusal(self, act: str, target: Target, reply: WireReply) -> OutsideFailed:
        return OutsideFailed.one(
            f"{target.member} refuses: {self._sentence(reply) or 'no reason given'}",
            where=f"act {act} at {target.address} port {target.port}, status {reply.status}",
            mend="mend what it names, then run the same command again",
        )
