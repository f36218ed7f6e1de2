"""How else our columns are headed: words of the trade, by table and column. Common practice, no source; no maker's names.

A heading is compared without case, marks and unit (``export.plain_key``). Hardware threads are not cores, so no word
for them stands here.
"""

from typing import Final

__all__ = ["TRADE_WORDS"]

TRADE_WORDS: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    "domain": {
        "name": ("name", "domain", "domain name", "failure domain", "location"),
        "kind": ("kind", "type", "sort", "category"),
        "inside": ("inside", "parent", "part of", "stands in", "located in", "within"),
    },
    "host": {
        "name": ("name", "host", "host name", "hostname", "server", "server name", "node", "machine"),
        "domains": ("domains", "failure domains", "stands in", "location", "rack", "site", "room", "cabinet"),
        "cores": ("cores", "physical cores", "cpu cores", "core count", "number of cores", "total cores"),
        "memory": (
            "memory", "ram", "mem", "installed memory", "total memory", "physical memory", "memory size",
            "memory total", "installed ram", "total ram",
        ),
        "reserved_memory": (
            "reserved memory", "memory reserved", "memory kept", "host memory", "memory for host",
            "memory overhead", "reserved ram",
        ),
        "vcpu_per_core": (
            "vcpu per core", "vcpus per core", "vcpu ratio", "cpu overcommit", "overcommit", "cpu ratio",
            "overcommitment", "vcpu core ratio",
        ),
        "cpu_level": ("cpu level", "processor level", "instruction level", "cpu baseline", "cpu generation"),
        "networks": ("networks", "network", "reaches networks", "connected networks", "segments", "subnets"),
        "pools": (
            "pools", "pool", "storage pools", "storage", "reaches pools", "connected storage", "volumes",
        ),
        "numa_nodes": ("numa nodes", "numa", "numa node count", "sockets numa"),
        "platform": ("platform", "hypervisor", "virtualisation platform", "virtualization platform"),
        "platform_version": ("platform version", "hypervisor version", "version", "release"),
        "guest_overhead": ("guest overhead", "overhead per guest", "guest memory overhead", "overhead per vm"),
    },
    "pool": {
        "name": ("name", "pool", "pool name", "storage pool", "storage name", "volume", "volume name"),
        "domains": ("domains", "failure domains", "stands in", "location", "array", "storage array", "rack", "site"),
        "capacity": ("capacity", "size", "total", "total capacity", "total size", "total space", "usable capacity"),
        "used": ("used", "used space", "written", "in use", "consumed", "occupied", "space used", "used capacity"),
        "promised": (
            "promised", "provisioned", "allocated", "provisioned space", "allocated space", "committed",
            "thin provisioned",
        ),
        "floor": ("floor", "free floor", "keep free", "minimum free", "free reserve", "reserve", "must stay free"),
        "promise_limit": (
            "promise limit", "overprovisioning limit", "thin limit", "provisioning limit", "overallocation limit",
        ),
    },
    "network": {
        "name": ("name", "network", "network name", "segment", "segment name", "vlan name", "subnet name"),
        "prefix": ("prefix", "cidr", "subnet", "network address", "ip range", "ip network", "address range"),
        "gateway": ("gateway", "default gateway", "router", "default router", "gw"),
        "vlan": ("vlan", "vlan id", "vid", "vlan number", "vlan tag", "tag"),
        "mtu": ("mtu", "mtu size", "frame size"),
        "dns_servers": ("dns servers", "dns", "name servers", "resolvers", "nameservers", "dns server"),
        "taken": ("taken", "addresses in use", "used addresses", "in use", "reserved addresses", "used ips"),
    },
    "guest": {
        "name": ("name", "guest", "guest name", "vm", "vm name", "virtual machine", "machine", "machine name"),
        "host": ("host", "host name", "hostname", "runs on", "running on", "server", "node", "current host"),
        "memory": (
            "memory", "ram", "mem", "memory size", "configured memory", "assigned memory", "allocated memory",
            "ram size",
        ),
        "vcpus": ("vcpus", "vcpu", "cpus", "cpu", "virtual cpus", "number of vcpus", "cpu count", "vcpu count"),
        "pool": ("pool", "storage pool", "storage", "volume", "storage name", "disks on", "stored on"),
        "disk": (
            "disk", "disks", "disk size", "provisioned", "provisioned space", "disk total", "total disk",
            "disk space", "disk capacity", "storage size", "provisioned storage",
        ),
        "restart_order": ("restart order", "start order", "boot order", "restart priority", "start priority"),
        "apart_group": ("apart group", "apart", "keep apart", "separation group", "anti affinity", "anti affinity group"),
        "together_group": ("together group", "together", "keep together", "affinity", "affinity group"),
        "vcpu_per_core": ("vcpu per core", "vcpus per core", "vcpu ratio", "cpu ratio", "vcpu core ratio"),
        "networks": ("networks", "network", "connected networks", "segments", "subnets"),
    },
}  # fmt: skip
