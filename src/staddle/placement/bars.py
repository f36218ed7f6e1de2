"""Why one host alone cannot take a member, or one pool a disk, whatever the others do. Pure, one member at a time."""

from staddle.kernel import format_binary, format_decimal
from staddle.placement.model import ClusterRules, ConflictRule, DiskNeed, HostRoom, MemberNeed, PoolRoom

__all__ = ["group", "host_bars", "pool_bars"]


def host_bars(member: MemberNeed, host: HostRoom) -> tuple[ConflictRule, ...]:
    """The rules by which this host cannot take this member; their names are those of the groups (groups.py)."""
    # Asked for every host of an estate: words are made only for what bars.
    bars: list[ConflictRule] = []

    def bar(name: str, text: str) -> None:
        bars.append(ConflictRule(name=name, text=text))

    if member.pinned_to and member.pinned_to != host.name:
        bar(f"pin:{member.pinned_to}", f"it is pinned to {member.pinned_to}")
    if member.site and ("site", member.site) not in host.domains:
        bar(f"site:{member.site}", f"it is not at site {member.site}")
    for name in member.keep_out:
        if name == host.name or any(name == own for _, own in host.domains):
            bar(f"keep-out:{name}", f"the member keeps out of {name}")
    missing = [network for network in member.networks if network not in host.networks]
    if missing:
        bar("networks", f"it lacks network {', '.join(missing)}")
    if member.cpu_levels and host.cpu_level not in member.cpu_levels:
        bar("cpu-level", f'its CPU level is "{host.cpu_level}", needed is {" or ".join(member.cpu_levels)}')
    if 0 < host.node_cores < member.vcpus or 0 < host.node_memory_bytes < member.memory_bytes:
        bar(
            "numa",
            f"one NUMA node has {host.node_cores} cores and {format_binary(host.node_memory_bytes)}, "
            f"needed are {member.vcpus} and {format_binary(member.memory_bytes)}",
        )
    memory_bytes, vcpus = host.memory_for(member), host.vcpus_for(member)
    if memory_bytes > host.memory_bytes:
        left, needed = format_binary(host.memory_bytes), format_binary(memory_bytes)
        bar("memory", f"{left} of memory left, needed are {needed}")
    if vcpus > host.vcpus:
        class_text = f" at {member.vcpu_per_core:g} a core" if vcpus != member.vcpus else ""
        bar("vcpus", f"{host.vcpus} vCPUs left, needed are {vcpus}{class_text}")
    return tuple(bars)


def pool_bars(
    rules: ClusterRules, member: MemberNeed, disk: DiskNeed, pool: PoolRoom
) -> tuple[ConflictRule, ...]:
    """The rules by which this pool cannot take this disk."""
    allowed = rules.allowed_pools
    names = (pool.name, *(name for _, name in pool.domains))
    fits = disk.written_bytes <= pool.free_bytes and disk.promised_bytes <= pool.promise_bytes
    if fits and not any(name in names for name in member.keep_out) and (not allowed or pool.name in allowed):
        return ()  # the usual case, asked often
    checks = (
        (
            group(rules.name, "pools-named"),
            bool(allowed) and pool.name not in allowed,
            "it is not among the design's pools",
        ),
        *((f"keep-out:{name}", name in names, f"the member keeps out of {name}") for name in member.keep_out),
        (
            "pool-free",
            disk.written_bytes > pool.free_bytes,
            f"{format_decimal(pool.free_bytes)} free above the floor, needed are "
            f"{format_decimal(disk.written_bytes)}",
        ),
        (
            "pool-promise",
            disk.promised_bytes > pool.promise_bytes,
            f"{format_decimal(pool.promise_bytes)} may still be promised, needed are "
            f"{format_decimal(disk.promised_bytes)}",
        ),
    )
    return tuple(ConflictRule(name=name, text=text) for name, barring, text in checks if barring)


def group(cluster: str, rule: str) -> str:
    """The name of the group of a rule that holds for one cluster; the cluster stands in it where there are several."""
    return f"{rule} of {cluster}" if cluster else rule
