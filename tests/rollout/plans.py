"""Small plans for tests: made by the real catalogue from invented orders."""

from staddle.plan.catalogue import limits_of, steps_of
from staddle.plan.orders import AdapterOrder, ClusterStep, DiskOrder, MemberOrder, Plan, RoomOrder

__all__ = ["plan_of"]


def _member(number: int, leads: str) -> MemberOrder:
    name = f"level-{number}"
    return MemberOrder(
        member=name,
        machine=f"levels-{name}",
        fqdn=f"{name}.ousemoor.example",
        site="Ousemoor",
        host=f"om-h{number}",
        size="river",
        processors=4,
        memory_bytes=16 << 30,
        disks=(
            DiskOrder(
                name=f"levels-{name}-system",
                disk_id="system",
                pool=f"om-p{number}",
                capacity_bytes=16 << 30,
                allocation="thick",
                file_id="system-file",
                file_bytes=1000,
            ),
        ),
        adapters=(
            AdapterOrder(
                name="net0",
                package_network="Management",
                network="om-management",
                address=f"192.0.2.{10 + number}",
                prefix_length=25,
            ),
        ),
        address=f"192.0.2.{10 + number}",
        port=8443,
        answers=(("sluicelog.host_name", f"{name}.ousemoor.example"),),
        secret_answers=(("sluicelog.admin_password", "administrator/first"),),
        leads=leads,
    )


def plan_of(count: int = 3) -> Plan:
    """A plan of that many members, the first leading, the second its deputy."""
    leads = ["first", "second", *["never"] * count][:count]
    members = tuple(_member(number, lead) for number, lead in enumerate(leads, 1))
    acts = (ClusterStep(name="start", title="start", act="start", look="look-started"),)
    steps = steps_of(members, acts)
    return Plan(
        job="levels",
        cluster="Ousemoor levels",
        tag="staddle/levels/test",
        purpose="rehearsal",
        package_sha256="0" * 64,
        join_secret_s=3600,
        most_offset_ms=100,
        fingerprint_source="console",
        zone="UTC",
        product="Sluicelog",
        version="4.2.0",
        members=members,
        rooms=tuple(
            RoomOrder(
                member=m.member,
                host=m.host,
                memory_bytes=m.memory_bytes,
                vcpus=m.processors,
                pools=(("om-p1", 1, 1),),
            )
            for m in members
        ),
        cluster_steps=acts,
        steps=steps,
        limits=limits_of(steps),
    )
