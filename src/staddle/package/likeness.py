"""Whether a package that was filled in still says what the maker's says, but for the filling. Pure.

Source: ours. It is what "reads back to the same facts" means.
"""

from collections.abc import Iterator
from dataclasses import fields, replace

from staddle.package.filling import Filling
from staddle.package.model import Hardware, Package, PackageDisk, Property

__all__ = ["unlike"]

_OWN = (
    "descriptor_name",
    "descriptor_sha256",
    "has_manifest",
    "has_certificate",
    "findings",  # they stand on other lines
    "machines",  # have the name that was set
    "network_descriptions",  # stand beside the names that were mapped
)
"""What differs by its nature: the descriptor is another one."""


def unlike(original: Package, filled: Package, filling: Filling) -> tuple[str, ...]:
    """What is different beside what the filling asks for; () where all is as it was meant."""
    wanted = replace(
        original,
        sizes=tuple(replace(size, is_default=size.size_id == filling.size_id) for size in original.sizes),
        networks=tuple(dict.fromkeys(filling.networks.get(name, name) for name in original.networks)),
        hardware=tuple(_mapped(hardware, filling) for hardware in original.hardware),
        disks=tuple(
            _of_size(disk, filled.disks[number] if number < len(filled.disks) else disk, filling)
            for number, disk in enumerate(original.disks)
        ),
        properties=filled.properties,
    )
    names = [
        field.name
        for field in fields(Package)
        if field.name not in _OWN and getattr(wanted, field.name) != getattr(filled, field.name)
    ]
    return (*names, *_properties(original, filled, filling))


def _mapped(hardware: Hardware, filling: Filling) -> Hardware:
    return replace(
        hardware,
        adapters=tuple(
            replace(adapter, network=filling.networks.get(adapter.network, adapter.network))
            for adapter in hardware.adapters
        ),
    )


def _of_size(disk: PackageDisk, filled: PackageDisk, filling: Filling) -> PackageDisk:
    if disk.capacity_property in filling.answers:  # the answer sets the capacity
        return replace(disk, capacity_bytes=filled.capacity_bytes, capacity_by_size=filled.capacity_by_size)
    return replace(disk, capacity_bytes=disk.capacity_for(filling.size_id))


def _properties(original: Package, filled: Package, filling: Filling) -> Iterator[str]:
    if [prop.key for prop in original.properties] != [prop.key for prop in filled.properties]:
        yield "properties"
        return
    for old, new in zip(original.properties, filled.properties, strict=True):
        if old.key in filling.answers:
            wanted = filling.answers[old.key]
            right = all(new.default_for(size.size_id) == wanted for size in filled.sizes)
        else:
            # A fixed value may take that of an answered question of the enclosing collection (DSP0243, "${name}").
            right = old.defaults == new.defaults or not old.user_configurable
        if not right or _without_defaults(old) != _without_defaults(new):
            yield f"property {old.key}"


def _without_defaults(prop: Property) -> Property:
    return replace(prop, defaults=())
