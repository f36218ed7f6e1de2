"""Pools that no surviving host reaches: for every machine with a disk there they are as good as failed. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Protocol

from staddle.failures.scenario import Scenario

__all__ = ["cut_off"]


class Reaching(Protocol):
    """A host and the pools that it reaches."""

    @property
    def name(self) -> str: ...
    @property
    def pools(self) -> tuple[str, ...]: ...


def cut_off(scenarios: Iterable[Scenario], hosts: Sequence[Reaching]) -> tuple[Scenario, ...]:
    """The scenarios, each with the pools added that only failed hosts reach; in the order of the hosts' own lists."""
    reaching: dict[str, set[str]] = {}
    for host in hosts:
        for pool in host.pools:
            reaching.setdefault(pool, set()).add(host.name)
    own = {host.name: host.pools for host in hosts}
    return tuple(_with_cut_off(scenario, reaching, own) for scenario in scenarios)


def _with_cut_off(
    scenario: Scenario, reaching: dict[str, set[str]], own: dict[str, tuple[str, ...]]
) -> Scenario:
    failed = set(scenario.hosts)
    near = dict.fromkeys(pool for host in scenario.hosts for pool in own.get(host, ()))
    more = [pool for pool in near if pool not in scenario.pools and reaching[pool] <= failed]
    return replace(scenario, pools=(*scenario.pools, *more)) if more else scenario
