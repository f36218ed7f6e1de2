"""The deployment configurations of a descriptor, as sizes.

Source: DSP0243, DeploymentOptionSection: ids unique, at most one default, else the first.
"""

from staddle.kernel import Severity
from staddle.package.markup import Element
from staddle.package.model import Size
from staddle.package.reading import Reading, listed

__all__ = ["read_sizes", "sizes_named"]

_MOST_SIZES = 100  # ours: every size is worked out by itself; makers ship a handful
_SOURCE = "DSP0243, deployment option section"


def read_sizes(reading: Reading, envelope: Element) -> tuple[Size, ...]:
    """The sizes in order; exactly one is the default. Without the section, one size with the id ""."""
    sections = list(reading.children(envelope, "DeploymentOptionSection"))
    if not sections:
        return (Size(size_id="", label="the only hardware", is_default=True),)
    for section in sections[1:]:
        reading.fault("there is a second DeploymentOptionSection", at=section)
    sizes: dict[str, Size] = {}
    for element in reading.children(sections[0], "Configuration"):
        size_id = reading.needed(element, "id")
        if size_id in sizes:
            reading.fault(f'the configuration id "{size_id}" stands twice', at=element)
            continue
        if set(size_id) & set(" \t\n,"):
            reading.fault(
                f'the configuration id "{size_id}" holds a blank or a comma',
                at=element,
                why="items name configurations in a list separated by these",
            )
        if len(sizes) >= _MOST_SIZES:
            reading.fault(f"the package has more than {_MOST_SIZES} configurations", at=element)
            break
        label = reading.text(element, "Label")
        if not label:
            reading.finding(
                "configuration-without-label",
                Severity.NOTE,
                f'the configuration "{size_id}" has no label; its id is shown',
                at=element,
                source=_SOURCE,
            )
        elif next(reading.children(element, "Description"), None) is None:
            reading.finding(
                "configuration-without-description",
                Severity.NOTE,
                f'the configuration "{size_id}" has no description',
                at=element,
                why="what the size is for is not told",
                source=_SOURCE,
            )
        is_default = reading.flag(element, "default", default=False)
        if is_default and any(size.is_default for size in sizes.values()):
            reading.fault(
                f'the configuration "{size_id}" is marked as default, and so is another',
                at=element,
                why="at most one can be the default",
            )
        sizes[size_id] = Size(
            size_id=size_id,
            label=label or size_id,
            description=reading.text(element, "Description"),
            is_default=is_default,
        )
    if not sizes:
        reading.fault("the DeploymentOptionSection holds no configuration", at=sections[0])
    if any(size.is_default for size in sizes.values()):
        return tuple(sizes.values())
    return tuple(
        Size(size_id=s.size_id, label=s.label, description=s.description, is_default=index == 0)
        for index, s in enumerate(sizes.values())
    )


def sizes_named(reading: Reading, element: Element, sizes: tuple[Size, ...]) -> tuple[str, ...]:
    """The sizes that ``ovf:configuration`` of the element names; () if it names none. Unknown names are faults."""
    names = reading.names(element, "configuration")
    known = {size.size_id for size in sizes}
    for name in names:
        if name not in known:
            reading.fault(
                f'ovf:configuration names "{name}", which the package does not have',
                at=element,
                why="its configurations are " + listed(sorted(known)),
            )
    return names
