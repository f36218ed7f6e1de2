"""Small estates for properties: full to a chosen per cent, with every rule that a restart knows."""

from dataclasses import dataclass

from hypothesis import strategies as st

from staddle.failures.running import Running, Stand
from tests.failures.restart_checker import cores_needed

GIB = 2**30


@dataclass(frozen=True)
class Small:
    machines: tuple[Running, ...]
    stands: tuple[Stand, ...]
    hosts: tuple[str, ...]
    pools: tuple[str, ...]


@st.composite
def small_estates(
    draw: st.DrawFn,
    *,
    hosts: tuple[int, int] = (2, 5),
    machines_a_host: int = 3,
    fill: tuple[int, ...] = (50, 85, 95, 98),
    rules: bool = True,
) -> Small:
    """Hosts that the machines on them fill to so many per cent (rounded up to a whole GiB left), some of them failing."""
    names = [f"h{n}" for n in range(draw(st.integers(*hosts)))]
    pools = ["p0", "p1", "p2"]
    reach = {name: tuple(p for p in pools if draw(st.integers(0, 3)) or not rules) for name in names}
    rates = {name: draw(st.sampled_from([4.0, 4.0, 2.5])) if rules else 4.0 for name in names}
    machines: list[Running] = []
    stands: list[Stand] = []
    for name in names:
        here = []
        for number in range(draw(st.integers(0, machines_a_host))):
            extra = {}
            if rules:
                extra = {
                    "vcpu_per_core": draw(st.sampled_from([None, None, 1.0, 3.0])),
                    "pools": tuple(
                        draw(st.lists(st.sampled_from(reach[name] or ("p0",)), max_size=2, unique=True))
                    ),
                    "networks": draw(st.sampled_from([(), (), ("n",)])),
                    "cpu_levels": draw(st.sampled_from([(), (), (), ("v3",), ("v2", "v3")])),
                    "sites": draw(st.sampled_from([(), (), ("west",), ("west", "east")])),
                    "apart": draw(st.sampled_from(["", "", "", "a", "b"])),
                    "together": draw(st.sampled_from(["", "", "", "", "t"])),
                }
            here.append(
                Running(
                    name=f"{name}-m{number}",
                    host=name,
                    memory_bytes=draw(st.integers(1, 12)) * GIB,
                    vcpus=draw(st.integers(1, 8)),
                    restart_order=draw(st.sampled_from([10, 50, 100])),
                    **extra,  # type: ignore[arg-type]  # each of the type of its field
                )
            )
        percent = draw(st.sampled_from(fill))
        stand = Stand(
            name=name,
            memory_bytes=0,
            cores=0,
            vcpu_per_core=rates[name],
            networks=draw(st.sampled_from([("n",), ("n",), ()])) if rules else (),
            pools=reach[name],
            site=draw(st.sampled_from(["west", "west", "east"])) if rules else "",
            cpu_level=draw(st.sampled_from(["v3", "v3", "v2"])) if rules else "",
            node_cores=draw(st.sampled_from([0, 0, 6])) if rules else 0,
            node_memory_bytes=draw(st.sampled_from([0, 0, 10 * GIB])) if rules else 0,
        )
        used_bytes = sum(m.memory_bytes for m in here)
        used_cores = sum(cores_needed(m, stand) for m in here)
        spare = draw(st.integers(0, 12))
        memory_bytes = -(-used_bytes * 100 // percent // GIB) * GIB or spare * GIB
        cores = -(-used_cores * 100 // percent // 1000) or spare
        stands.append(
            Stand(
                **{
                    field: getattr(stand, field)
                    for field in Stand.__slots__
                    if field not in ("memory_bytes", "cores")
                },
                memory_bytes=memory_bytes + draw(st.integers(0, 2)) * GIB,
                cores=cores + draw(st.integers(0, 2)),
            )
        )
        machines += here
    failing = draw(st.lists(st.sampled_from(names), min_size=1, max_size=2, unique=True))
    failed_pools = draw(st.sampled_from([(), (), (), ("p1",), ("p0", "p2")])) if rules else ()
    return Small(tuple(machines), tuple(stands), tuple(failing), failed_pools)
