"""What the command package says of one machine in lines, beside its tables: devices, bounds, texts, and how it stands with others."""

from collections.abc import Iterator, Sequence
from typing import Final

from staddle.kernel import format_binary
from staddle.package import Allocation, Hardware, Package, Property, QuantityRange, SizeFigures

__all__ = ["allowed", "machine_lines", "texts_line", "together_lines", "used_lines"]

_MOST_LANGUAGES: Final = 20


def texts_line(found: Package, lang: str) -> str:
    """Which languages the package's texts have, and which is shown; "" where there is no choice."""
    if len(found.languages) < 2:
        return ""
    more = (
        f" and {len(found.languages) - _MOST_LANGUAGES} more"
        if len(found.languages) > _MOST_LANGUAGES
        else ""
    )
    near = [tag for tag in found.languages if tag.lower().partition("-")[0] == lang.lower().partition("-")[0]]
    every = ", ".join(found.languages[:_MOST_LANGUAGES]) + more
    if near:
        return f"texts in {every}: choose with --lang"
    return f"no texts in {lang}, those in {found.languages[0]} are shown; it has them in {every}"


def used_lines(figures: Sequence[SizeFigures]) -> Iterator[str]:
    """Where the product is used, by the package's defaults; nothing where the maker names no address."""
    sizes: dict[str, list[str]] = {}
    for figure in figures:
        if figure.used_at:
            sizes.setdefault(figure.used_at, []).append(figure.size_id)
    for address, named in sizes.items():
        where = "" if len(sizes) == 1 else f" in {', '.join(named)}"
        yield f"used at{where}: {address} (by the package's defaults)"


def machine_lines(found: Package) -> Iterator[str]:
    """What the machine is and has beside processors, memory, disks and adapters. A line that not every size has names its sizes."""
    if found.operating_system is not None:
        version = f", version {found.operating_system_version}" if found.operating_system_version else ""
        yield f"operating system: CIM OSType {found.operating_system}{version}"
    lines: dict[str, list[str]] = {}
    for hardware in found.hardware:
        for line in _hardware_lines(found, hardware):
            lines.setdefault(line, []).append(hardware.size_id)
    for line, sizes in lines.items():
        yield line + ("" if len(sizes) == len(found.hardware) else f" (in {', '.join(sizes)})")
    for disk in found.disks:
        if disk.parent_id:
            yield f"disk {disk.disk_id}: its file holds only what differs from the disk {disk.parent_id}"
    for extra in found.environment_files:
        yield f"file for the machine: {found.get_file(extra.file_id).href} as /ovffiles/{extra.path}"
    for allocation in found.group_allocations:
        yield f"for all machines of the collection: {_allocated(allocation)}"


def _hardware_lines(found: Package, hardware: Hardware) -> Iterator[str]:
    if hardware.system_types:
        yield "made for: " + ", ".join(hardware.system_types)
    if hardware.transports:
        yield "takes its answers by: " + ", ".join(hardware.transports)
    for bounds in hardware.ranges:
        yield f"{bounds.of} allowed: {_between(bounds)}"
    for allocation in hardware.allocations:
        yield _allocated(allocation)
    for medium in hardware.media:
        yield f"in the drive {medium.drive}: {found.get_file(medium.file_id).href}"
    if hardware.other_devices:
        yield "more devices: " + ", ".join(hardware.other_devices)


def _between(bounds: QuantityRange) -> str:
    def told(amount: int) -> str:
        return format_binary(amount) if bounds.of == "memory" else str(amount)

    if bounds.least is None:
        return "any number" if bounds.most is None else f"at most {told(bounds.most)}"
    return (
        f"at least {told(bounds.least)}"
        if bounds.most is None
        else f"{told(bounds.least)} to {told(bounds.most)}"
    )


def _allocated(allocation: Allocation) -> str:
    def told(amount: int) -> str:
        if allocation.unit == "hertz":
            return f"{amount / 10**6:g} MHz"
        return format_binary(amount) if allocation.unit == "byte" else f"{amount} {allocation.unit}"

    parts = (
        f"{told(allocation.reservation)} kept for it" if allocation.reservation is not None else "",
        f"at most {told(allocation.limit)}" if allocation.limit is not None else "",
        f"weight {allocation.weight}" if allocation.weight is not None else "",
    )
    return f"{allocation.of}: {', '.join(filter(None, parts))}"


def together_lines(found: Package) -> Iterator[str]:
    """How the machine stands with others: groups, counts, order of start."""
    group = found.get_placement_group()
    if group is not None:
        yield f"placement group {group.group_id}: {group.policy}" + (f", {group.info}" if group.info else "")
    for scale in found.scale_out:
        for count in scale.counts:
            most = "any number" if count.most is None else count.most
            of_size = f" in size {count.size_id}" if count.size_id else ""
            yield f"meant to stand{of_size}: {scale.content_id} {count.default} times, from {count.least} to {most}"
    for start in found.start_order:
        waits = " or when the guest is ready" if start.waits_for_guest else ""
        yield (
            f"start {start.order}: {start.content_id} ({start.start_action}), then {start.start_delay_s} s{waits}; "
            f"stop: {start.stop_action}, then {start.stop_delay_s} s"
        )
    if found.boot_order:
        yield "starts from: " + ", ".join(found.boot_order)


def allowed(prop: Property) -> str:
    """What an answer may be, in words; "" for anything of its type."""
    if prop.allowed:
        return ", ".join(f'"{text}"' if _needs_marks(text) else text for text in prop.allowed)
    bounds = [
        f"at least {_characters(prop.min_length)}" if prop.min_length else "",
        f"at most {_characters(prop.max_length)}" if prop.max_length else "",
    ]
    return ", ".join(filter(None, bounds))


def _needs_marks(text: str) -> bool:
    return not text or "," in text or text != text.strip()


def _characters(count: int) -> str:
    return "1 character" if count == 1 else f"{count} characters"
