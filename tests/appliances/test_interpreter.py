"""The interpreter by itself: what it refuses in a profile, how values are filled in, what each reply means.

The wire below is a small one of the test's own that answers as told; the port is ours, what stands behind it is not.
"""

import asyncio
import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import unquote, urlsplit  # RFC 3986, by the standard library

import jmespath
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.appliances.checking import NEEDED_ACTS, profile_faults
from staddle.appliances.filling import filled_body, filled_path, filled_query
from staddle.appliances.interpreter import ProfiledAppliance
from staddle.design.profile import Profile
from staddle.kernel import InputRefused, OutcomeUnknown, OutsideFailed
from staddle.plan.looks import NotYet, Seen
from staddle.plan.ports import Health, Target, View, WireReply
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import HIDDEN, Secret

NOON = datetime(2026, 12, 5, 12, tzinfo=UTC)
PASSWORD = Secret("first-Password-1")
TARGET = Target(
    member="levels-1",
    address="192.0.2.11",
    port=8443,
    pinned=Fingerprint(digest=bytes(32)),
    user="admin",
    secret=PASSWORD,
)


def block(path: str = "/x", method: str = "GET", **more: Any) -> dict[str, Any]:  # noqa: ANN401
    asked = {"method": method, "path": path}
    asked |= {key: more.pop(key) for key in ("send", "signed_in") if key in more}
    return {"ask": asked, **more}


def profile(acts: Mapping[str, list[dict[str, Any]]] | None = None, **more: Any) -> Profile:  # noqa: ANN401
    """A whole profile with every needed act; ``acts`` replaces some of them."""
    plain = {
        act: [block(keep={name: name for name in kept}, method="GET" if kept else "POST")]
        for act, kept in NEEDED_ACTS.items()
    }
    told = {
        "profile": "x",
        "title": "X",
        "product": "X",
        "versions": ["1."],
        "port": 8443,
        "user": "admin",
        "password_property": "x.password",
        "acts": plain | dict(acts or {}),
        **more,
    }
    return Profile.model_validate_json(json.dumps(told))


class Told:
    """Answers in turn; keeps what it was asked."""

    def __init__(self, *replies: tuple[int, object]) -> None:
        self.replies = list(replies)
        self.asked: list[dict[str, Any]] = []

    async def call(self, address: str, port: int, **asked: Any) -> WireReply:  # noqa: ANN401
        self.asked.append(asked)
        status, body = self.replies.pop(0)
        return WireReply(
            status=status, body=body, sent_at=NOON, received_at=NOON + timedelta(milliseconds=20)
        )

    async def probe_tcp(self, address: str, port: int, *, timeout_s: float) -> NotYet | None:
        raise AssertionError

    async def read_certificate(self, address: str, port: int, *, timeout_s: float) -> bytes | NotYet:
        raise AssertionError


def faults(made: Profile) -> list[str]:
    return ["\n".join(fault.lines()) for fault in profile_faults(made, where="x.yaml")]


# What is wrong with a profile


def test_a_whole_profile_has_no_fault() -> None:
    assert faults(profile()) == []


def test_a_missing_act_and_everything_not_kept_are_told_together() -> None:
    made = profile({"health": [block(keep={"healthy": "a"})]})
    acts = {name: blocks for name, blocks in made.acts.items() if name != "found"}
    made = made.model_copy(update={"acts": acts})
    missing = ("in_cluster", "name", "version", "processors", "memory_mib", "time")
    assert faults(made) == [
        *(
            f'act "health" does not keep "{name}"\n  where: x.yaml: acts.health\n  try:   add it to keep'
            for name in missing
        ),
        'the profile has no act "found"\n  where: x.yaml: acts\n  try:   add its blocks',
    ]
    with pytest.raises(InputRefused) as caught:
        ProfiledAppliance(made, Told(), where="x.yaml")
    assert len(caught.value.faults) == 7


def test_a_cluster_step_with_unknown_acts_is_told_for_each() -> None:
    made = profile(cluster=[{"step": "start", "title": "start", "act": "go", "look": "gone"}])
    assert faults(made) == [
        'cluster step "start" names act "go", which the profile does not have\n  where: x.yaml',
        'cluster step "start" names act "gone", which the profile does not have\n  where: x.yaml',
    ]


def test_an_expression_that_is_no_jmespath_is_told_with_its_place() -> None:
    made = profile({"read": [block(keep={"value": "a["})], "found": [block(expect={"where": "b ==="})]})
    told = sorted(faults(made))
    assert [text.splitlines()[:2] for text in told] == [
        ['act "found": "b ===" is not JMESPath', "  where: x.yaml: acts.found"],
        ['act "read": "a[" is not JMESPath', "  where: x.yaml: acts.read"],
    ]


def test_a_value_may_stand_in_an_expression_with_and_without_quotes() -> None:
    wheres = ["a == '${deputy}'", "a == ${count:number}", 'b."${key}" == `1`']
    made = profile({f"look-{n}": [block(expect={"where": where})] for n, where in enumerate(wheres)})
    assert faults(made) == []


def test_a_view_that_never_signs_in_cannot_show_which_password_holds() -> None:
    keep = {name: name for name in NEEDED_ACTS["view"]}
    assert faults(profile({"view": [block(keep=keep, signed_in=False)]})) == [
        'act "view" is never signed in\n'
        "  where: x.yaml: acts.view\n"
        "  why:   it is also asked to see which password a member accepts\n"
        "  try:   leave signed_in at true for one of its blocks"
    ]


# Filling in


@pytest.mark.parametrize("text", ["${nobody}", "a ${Deputy} b", "${}", "${x1}"])
def test_an_unknown_name_is_refused_with_those_that_are_known(text: str) -> None:
    name = text[text.index("{") + 1 : text.index("}")]
    expected = (
        f'error: the profile asks for "${{{name}}}", which is not known here\n'
        "  why:   known are: cluster, deputy\n"
        "  try:   correct the profile"
    )
    values = {"deputy": "b", "cluster": "a"}
    for fill in (filled_path, filled_body):
        with pytest.raises(InputRefused) as caught:
            fill(text, values)
        assert str(caught.value) == expected
    with pytest.raises(InputRefused) as caught:
        filled_query(f"a == '{text}'", values)
    assert str(caught.value) == expected


def test_where_nothing_is_known_it_says_so() -> None:
    with pytest.raises(InputRefused, match="known are: none"):
        filled_path("/${a}", {})


def test_a_number_is_sent_as_a_number_and_what_is_none_is_refused_unquoted() -> None:
    assert filled_body("${lifetime_s:number}", {"lifetime_s": "3600"}) == 3600
    assert filled_body("${lifetime_s}", {"lifetime_s": "3600"}) == "3600"
    assert filled_body(7, {}) == 7
    assert filled_body(True, {}) is True
    with pytest.raises(InputRefused) as caught:
        filled_body("${join_secret:number}", {"join_secret": Secret("hush-hush-hush")})
    assert str(caught.value) == (
        'error: the profile asks for "${join_secret:number}", which is no whole number here\n'
        "  try:   correct the profile"
    )
    assert caught.value.__cause__ is None
    assert caught.value.__suppress_context__


def test_a_secret_that_stands_alone_in_a_body_stays_a_secret() -> None:
    assert filled_body("${word}", {"word": PASSWORD}) is PASSWORD
    assert filled_body("pass ${word}!", {"word": PASSWORD}) == "pass first-Password-1!"


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1))
@settings(max_examples=80)
def test_a_value_in_a_path_is_one_segment_whatever_it_holds(value: str) -> None:
    path = filled_path("/v1/values/${key}", {"key": value})
    assert path.isascii()
    assert path.count("/") == 3
    assert urlsplit(path).query == urlsplit(path).fragment == ""
    assert unquote(path.rpartition("/")[2]) == value


@given(st.text(st.characters(exclude_categories=["Cs"])), st.text(st.characters(exclude_categories=["Cs"])))
@settings(max_examples=150)
def test_a_value_in_a_query_is_compared_as_what_it_is(value: str, other: str) -> None:
    query = filled_query("a == '${v}' && b.c == ${v}", {"v": value})
    assert jmespath.search(query, {"a": value, "b": {"c": value}}) is True
    if other != value:
        assert jmespath.search(query, {"a": other, "b": {"c": value}}) is False


@pytest.mark.parametrize(
    "value", ["a'b", "a\\b", "a\\'b", "end\\", "`", '"', "' || `true` || '", "🦦", "\n\t"]
)
def test_quotes_and_backslashes_in_a_value_end_no_expression(value: str) -> None:
    query = filled_query("deputy == '${deputy}'", {"deputy": value})
    assert jmespath.search(query, {"deputy": value}) is True
    assert jmespath.search(query, {"deputy": value + "x"}) is False


def test_a_raw_string_keeps_what_stands_around_its_value() -> None:
    query = filled_query(
        r"a == 'it\'s ${x}, not `that`' && \"k${x}\" == 'plain'".replace('\\"', '"'), {"x": "8"}
    )
    assert jmespath.search(query, {"a": "it's 8, not `that`", "k8": "plain"}) is True


def test_a_secret_is_not_known_in_a_query() -> None:
    with pytest.raises(InputRefused, match="is not known here"):
        filled_query("a == '${word}'", {"word": PASSWORD})


# What replies mean


def appliance(wire: Told, acts: Mapping[str, list[dict[str, Any]]] | None = None) -> ProfiledAppliance:
    return ProfiledAppliance(profile(acts), wire)


def refusal(work: Any) -> OutsideFailed:  # noqa: ANN401
    with pytest.raises(OutsideFailed) as caught:
        asyncio.run(work)
    return caught.value


def test_a_status_of_not_yet_is_not_yet_with_the_appliances_words() -> None:
    acts = {"view": [block(keep={n: n for n in NEEDED_ACTS["view"]}, expect={"not_yet": [409]})]}
    assert asyncio.run(appliance(Told((409, {"message": "alone"})), acts).view(TARGET)) == NotYet(why="alone")
    assert asyncio.run(appliance(Told((409, None)), acts).view(TARGET)) == NotYet(
        why="it answers with status 409"
    )


def test_a_status_of_unknown_is_an_unknown_outcome() -> None:
    acts = {"found": [block(method="POST", expect={"unknown": [504]})]}
    error = refusal(appliance(Told((504, {"message": "no majority yet"})), acts).found(TARGET, "c"))
    assert isinstance(error, OutcomeUnknown)
    assert str(error) == (
        "error: levels-1 does not know whether it happened: no majority yet\n  where: found"
    )


def test_any_other_status_is_a_refusal_with_reason_and_place() -> None:
    error = refusal(appliance(Told((409, {"message": "the name is taken"}))).found(TARGET, "c"))
    assert not isinstance(error, OutcomeUnknown)
    assert str(error) == (
        "error: levels-1 refuses: the name is taken\n"
        "  where: act found at 192.0.2.11 port 8443, status 409\n"
        "  try:   mend what it names, then run the same command again"
    )
    assert "no reason given" in str(refusal(appliance(Told((500, None))).found(TARGET, "c")))


def test_the_second_block_uses_what_the_first_has_kept() -> None:
    acts = {
        "found": [
            block("/drafts", "POST", send={"title": "${cluster}"}, keep={"draft": "draft.number"}),
            block("/drafts/${draft}/commit", "POST"),
        ]
    }
    wire = Told((200, {"draft": {"number": 17}}), (200, None))
    asyncio.run(appliance(wire, acts).found(TARGET, "Ousemoor levels"))
    assert [asked["path"] for asked in wire.asked] == ["/drafts", "/drafts/17/commit"]
    assert [asked["body"] for asked in wire.asked] == [{"title": "Ousemoor levels"}, {}]


def test_once_a_block_was_taken_a_later_no_is_no_longer_a_clear_one() -> None:
    acts = {"found": [block(method="POST"), block(method="POST", expect={"not_yet": [425]})]}
    for reply in ((409, {"message": "no"}), (425, {"message": "later"})):
        assert isinstance(
            refusal(appliance(Told((200, None), reply), acts).found(TARGET, "c")), OutcomeUnknown
        )
    acts = {"found": [block(method="GET"), block(method="POST")]}
    assert not isinstance(
        refusal(appliance(Told((200, None), (409, None)), acts).found(TARGET, "c")), OutcomeUnknown
    ), "a question changes nothing"


def test_an_expectation_that_does_not_hold_is_not_yet_for_a_look_and_unknown_for_an_act() -> None:
    acts = {
        "look": [block(expect={"where": "deputy == '${deputy}'"})],
        "act": [block(method="POST", expect={"where": "done"})],
    }
    look = appliance(Told((200, {"deputy": "a"})), acts).look_act("look", TARGET, {"deputy": "b"})
    assert asyncio.run(look) == NotYet(why="its reply does not yet satisfy: deputy == '${deputy}'")
    act = appliance(Told((200, {"done": False})), acts).carry_act("act", TARGET, {})
    assert isinstance(refusal(act), OutcomeUnknown)


def test_an_expression_that_does_not_fit_the_reply_is_told_and_quotes_nothing_of_it() -> None:
    acts = {"look": [block(expect={"where": "length(things) > `1`"})]}
    error = refusal(appliance(Told((200, {"things": 5})), acts).look_act("look", TARGET, {}))
    assert str(error) == (
        "error: levels-1 gave a reply that the profile does not know\n"
        "  where: act look at 192.0.2.11 port 8443\n"
        "  why:   an expression of the profile does not fit it\n"
        "  try:   compare the profile with the appliance's version; correct the profile"
    )


HEALTH = {
    "healthy": True,
    "in_cluster": False,
    "name": "n",
    "version": "1",
    "processors": 4,
    "memory_mib": 8192,
    "time": "2026-12-05T12:00:01.010Z",
}


def test_the_clock_offset_is_half_of_both_differences() -> None:
    health = asyncio.run(appliance(Told((200, HEALTH))).health(TARGET))
    assert isinstance(health, Health)
    assert health.clock_offset_ms == pytest.approx(
        1000.0
    )  # RFC 5905 §8: ½[(T2−T1)+(T3−T4)], T2 = T3 = T1 + 1010 ms


@pytest.mark.parametrize(
    "wrong",
    [
        {"time": None},
        {"time": "noon"},
        {"time": "2026-12-05T12:00:01"},
        {"processors": None},
        {"processors": "four"},
        {"memory_mib": []},
    ],
)
def test_health_in_another_form_is_told_as_that(wrong: dict[str, Any]) -> None:
    error = refusal(appliance(Told((200, {**HEALTH, **wrong}))).health(TARGET))
    assert error.faults[0].what == "levels-1 gave a reply that the profile does not know"


def view_of(*members: object) -> dict[str, Any]:
    return {"cluster_id": "1", "cluster": "c", "leader": None, "deputy": None, "members": list(members)}


def test_a_listed_fingerprint_is_read_in_any_form_and_told_in_one() -> None:
    rows = [
        {"name": "a", "address": "192.0.2.11", "heard": True, "fingerprint": form}
        for form in ("ab" * 32, ":".join(["AB"] * 32), "sha256:" + "AB" * 32, "unknown")
    ]
    view = asyncio.run(appliance(Told((200, view_of(*rows)))).view(TARGET))
    assert isinstance(view, View)
    one = ":".join(["AB"] * 32)
    assert [member.fingerprint for member in view.members] == [one, one, one, "unknown"]
    assert (view.leader, view.deputy) == ("", "")


@pytest.mark.parametrize("row", [None, "a", {"name": "a"}, {"name": "a", "address": "b", "fingerprint": "c"}])
def test_a_member_in_another_form_is_told_as_that(row: object) -> None:
    error = refusal(appliance(Told((200, view_of(row)))).view(TARGET))
    assert error.faults[0].why == "its members do not all have name, address, fingerprint, heard"


@pytest.mark.parametrize("body", [{}, {"secret": None}, {"secret": ""}, {"secret": 5}])
def test_a_reply_without_the_secret_is_no_secret(body: object) -> None:
    error = refusal(appliance(Told((200, body))).issue_join_secret(TARGET, "b", 60))
    assert isinstance(error, OutcomeUnknown)
    assert error.faults[0].why == "it does not hold the secret"


def test_a_value_that_is_not_there_is_none() -> None:
    acts = {"read": [block(keep={"value": "value"}, expect={"not_yet": [404]})]}
    assert asyncio.run(appliance(Told((404, None)), acts).read(TARGET, "k")) is None
    assert asyncio.run(appliance(Told((200, {"value": None})), acts).read(TARGET, "k")) is None
    assert asyncio.run(appliance(Told((200, {"value": 3})), acts).read(TARGET, "k")) == "3"


@pytest.mark.parametrize(("status", "accepted"), [(200, True), (401, False), (403, False)])
def test_whether_a_password_is_accepted_is_asked_where_one_is_sent(status: int, accepted: bool) -> None:
    keep = {name: name for name in NEEDED_ACTS["view"]}
    acts = {"view": [block("/number", signed_in=False, keep={"n": "n"}), block("/view/${n}", keep=keep)]}
    wire = Told((200, {"n": 4}), (status, None))
    assert asyncio.run(appliance(wire, acts).accepts(TARGET)) is accepted
    assert [(asked["path"], asked["secret"]) for asked in wire.asked] == [
        ("/number", None),
        ("/view/4", PASSWORD),
    ]


def test_a_look_tells_what_it_kept_and_nothing_of_when() -> None:
    acts = {"look": [block(keep={"deputy": "deputy"})]}
    seen = asyncio.run(appliance(Told((200, {"deputy": "b"})), acts).look_act("look", TARGET, {}))
    assert seen == Seen(evidence={"deputy": "b"})


# No secret in any error


def test_an_appliance_that_quotes_a_secret_back_does_not_get_it_into_the_error() -> None:
    joining = Secret("J" * 43)
    acts = {"join": [block(method="POST", send={"secret": "${join_secret}"}, expect={"unknown": [504]})]}
    for status in (403, 504):
        said = f"{joining.unsafe_reveal()} by {PASSWORD.unsafe_reveal()} is not known"
        error = refusal(appliance(Told((status, {"message": said})), acts).join(TARGET, TARGET, joining))
        assert f"{HIDDEN} by {HIDDEN} is not known" in str(error)
        assert joining.unsafe_reveal() not in str(error)
        assert PASSWORD.unsafe_reveal() not in str(error)


def test_a_not_yet_that_quotes_a_secret_is_cleaned_too() -> None:
    acts = {
        "change-password": [block(method="POST", send={"new": "${new_password}"}, expect={"not_yet": [503]})]
    }
    new = Secret("second-Word-34.7")
    wire = Told((503, {"message": f"wait with {new.unsafe_reveal()}"}))
    assert str(refusal(appliance(wire, acts).change_password(TARGET, new))) == (
        f"error: levels-1 is not ready: wait with {HIDDEN}\n"
        "  where: change-password\n"
        "  try:   run the same command again"
    )


def test_secrets_go_to_the_wire_as_secrets() -> None:
    acts = {"join": [block(method="POST", send={"secret": "${join_secret}"})]}
    wire = Told((200, None))
    asyncio.run(appliance(wire, acts).join(TARGET, TARGET, PASSWORD))
    assert wire.asked[0]["body"] == {"secret": PASSWORD}
    assert PASSWORD.unsafe_reveal() not in repr(wire.asked)
