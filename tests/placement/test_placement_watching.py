"""What a later survey sees of the members, against what was to keep them where they were settled."""

from hypothesis import given
from hypothesis import strategies as st

from staddle.placement.keeping import KeepApart, Keeping, MemberKeeping
from staddle.placement.watching import SeenAt, drifted

HOSTS = ("h1", "h2", "h3")


def kept(member: str, **changes: object) -> MemberKeeping:
    fields: dict[str, object] = {
        "host": "h1",
        "hosts": ("h1", "h2"),
        "within": (("rack", "r1"),),
        "site": "",
        "disks": (("system", "p1"), ("data", "p2")),
        "memory_bytes": 1,
        "restart_order": 50,
        "starts_after": (),
        "starts_before": 0,
    }
    return MemberKeeping(member=member, **(fields | changes))  # type: ignore[arg-type]  # a table of mixed values


def told(keeping: Keeping, **seen: tuple[str, str]) -> list[str]:
    return [
        one.what for one in drifted(keeping, {name: SeenAt(host=h, pool=p) for name, (h, p) in seen.items()})
    ]


def test_another_host_of_its_rack_and_either_of_its_pools_are_where_it_may_be() -> None:
    keeping = Keeping(apart=(), members=(kept("a"),))
    assert told(keeping, a=("h2", "p2")) == []
    assert told(keeping, a=("h1", "")) == []
    assert told(keeping) == []


def test_outside_its_rack_and_on_another_pool_is_told_each() -> None:
    keeping = Keeping(apart=(), members=(kept("a"),))
    assert told(keeping, a=("h3", "p9")) == [
        "a runs on h3, outside rack r1; settled was h1",
        "a has a disk on pool p9; settled was p1, p2",
    ]
    free = Keeping(apart=(), members=(kept("a", hosts=(), within=()),))
    assert told(free, a=("h3", "p1")) == []


@given(
    st.dictionaries(st.sampled_from("abcde"), st.sampled_from(HOSTS)),
    st.integers(1, 3),
    st.sets(st.sampled_from("abcde"), min_size=2),
)
def test_a_host_is_told_exactly_where_more_are_seen_on_it_than_may_be(
    seen: dict[str, str], most: int, names: set[str]
) -> None:
    row = KeepApart(cluster="", members=tuple(sorted(names)), most=most, after_a_failure=False)
    found = drifted(
        Keeping(apart=(row,), members=()), {name: SeenAt(host=host) for name, host in seen.items()}
    )
    crowds = {host: sorted(name for name in names if seen.get(name) == host) for host in HOSTS}
    assert sorted(one.members for one in found) == sorted(
        tuple(own) for own in crowds.values() if len(own) > most
    )
