"""The virtual machines of a package, and the collections around each.

Source: DSP0243, content elements: a virtual system, or collections that nest; their ids are unique.
"""

from collections.abc import Iterator, Sequence

from staddle.kernel import Fault, InputRefused
from staddle.package.markup import Element, local_name
from staddle.package.model import Machine
from staddle.package.reading import Reading, listed
from staddle.package.sections import CONTENT

__all__ = ["contents_of", "find_systems", "machine_of", "one_of"]

Path = tuple[Element, ...]  # a virtual system, then what encloses it, innermost first
_MOST_MACHINES = 100  # ours: each is read by itself; appliances come as a few machines


def find_systems(reading: Reading, envelope: Element) -> tuple[Path, ...]:
    """Every virtual system in the order of the document; () with a fault where there is none."""
    top = list(reading.children(envelope, *CONTENT))
    for second in top[1:]:
        reading.fault(
            "the envelope holds a second content element",
            at=second,
            why="exactly one is expected: a VirtualSystem, or a VirtualSystemCollection around several (DSP8023)",
        )
    found = list(_systems(reading, envelope, ()))
    if not found:
        reading.fault("the package holds no virtual machine", at=envelope, why="a VirtualSystem is expected")
    if len(found) > _MOST_MACHINES:
        reading.fault(
            f"the package holds {len(found)} virtual machines",
            at=envelope,
            why=f"at most {_MOST_MACHINES} are read",
        )
        return ()
    ids: set[str] = set()
    for content in contents_of(found):
        content_id = reading.needed(content, "id")
        if content_id and content_id in ids:
            reading.fault(f'the content id "{content_id}" stands twice', at=content)
        ids.add(content_id)
    return tuple(found)


def contents_of(systems: Sequence[Path]) -> tuple[Element, ...]:
    """Every machine and collection once, what encloses before what is enclosed."""
    return tuple({id(content): content for path in systems for content in reversed(path)}.values())


def machine_of(reading: Reading, path: Path) -> Machine:
    """The machine as a value."""
    return Machine(
        machine_id=reading.attribute(path[0], "id") or "",
        name=reading.text(path[0], "Name"),
        collections=tuple(reading.attribute(outer, "id") or "" for outer in reversed(path[1:])),
    )


def one_of(names: Sequence[str], wanted: str, *, where: str) -> int:
    """Which of the package's machines is meant: the wanted one, or the only one.

    Raises: InputRefused: it has none of that name, or several and none was named.
    """
    if wanted in names:
        return names.index(wanted)
    if not wanted and len(names) == 1:
        return 0
    if wanted:
        raise InputRefused.one(
            f'the package holds no virtual machine "{wanted}"',
            where=where,
            why=f"it holds {listed(names)}",
            mend="name one of these: in a job design.yaml: package.machine, else with --machine",
        )
    raise InputRefused(
        Fault(
            what=f"the package holds {len(names)} virtual machines: {listed(names)}",
            where=where,
            why="a cluster is made of members of one machine; nothing tells which of these it is",
            mend="name one in design.yaml: package.machine; look at all with: staddle package FILE",
        )
    )


def _systems(reading: Reading, parent: Element, enclosing: Path) -> Iterator[Path]:
    for content in reading.children(parent, *CONTENT):
        if local_name(content) == "VirtualSystem":
            yield (content, *enclosing)
        else:
            yield from _systems(reading, content, (content, *enclosing))
