"""The one virtual machine of a package, and the collections around it.

Source: DSP0243, content elements: a virtual system, or collections that nest.
"""

from collections.abc import Iterator

from staddle.package.markup import Element, local_name
from staddle.package.reading import Reading
from staddle.package.sections import CONTENT

__all__ = ["find_system"]


def find_system(reading: Reading, envelope: Element) -> tuple[Element, ...]:
    """The one virtual system, then what encloses it, innermost first. () with a fault if there is not one."""
    found = list(_systems(reading, envelope, ()))
    if len(found) == 1:
        return found[0]
    if found:
        names = ", ".join(f'"{reading.attribute(path[0], "id")}"' for path in found)
        reading.fault(
            f"the package holds {len(found)} virtual machines: {names}",
            at=found[1][0],
            why="a cluster is made of members of one machine; nothing tells which of these it is",
            mend="ask the package's maker for a package with the machine of one member",
        )
    else:
        reading.fault("the package holds no virtual machine", at=envelope, why="a VirtualSystem is expected")
    return ()


def _systems(
    reading: Reading, parent: Element, enclosing: tuple[Element, ...]
) -> Iterator[tuple[Element, ...]]:
    for content in reading.children(parent, *CONTENT):
        if local_name(content) == "VirtualSystem":
            yield (content, *enclosing)
        else:
            yield from _systems(reading, content, (content, *enclosing))
