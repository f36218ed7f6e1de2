"""The sweep on workers of dask.distributed, each a process of its own with its own address: the way beyond one machine."""

import sys
from pathlib import Path

import pytest
from distributed import Client, LocalCluster

from staddle.failures.pairs import decide_pairs
from staddle.failures.restart import RestartTest
from tests.failures.test_pairs import scenario
from tests.failures.test_restart import machine, stand
from tests.platforms.loopback_blocks import own_block


def test_workers_find_what_one_process_does(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    hosts = [stand(f"h{n:02}", 40) for n in range(24)]
    machines = [machine(f"m{n}", f"h{n % 24:02}", 1 + n % 9) for n in range(130)]
    scenarios = [scenario((one.name,)) for one in hosts]
    test = RestartTest(machines, hosts)
    here = decide_pairs(test, scenarios)
    # Worker processes import what they are sent by name.
    monkeypatch.setenv("PYTHONPATH", str(Path(sys.modules["staddle"].__path__[0]).parent))
    with (
        own_block() as block,
        LocalCluster(  # type: ignore[no-untyped-call]  # the library's own gap
            n_workers=2,
            threads_per_worker=1,
            host=f"127.{block}.0.1",
            dashboard_address=None,
            local_directory=tmp_path,
        ) as cluster,
        Client(cluster) as client,  # type: ignore[no-untyped-call]  # the same
    ):
        there = decide_pairs(test, scenarios, executor=client.get_executor())
    assert (there.verdicts == here.verdicts).all()
    assert there.decided == here.decided
