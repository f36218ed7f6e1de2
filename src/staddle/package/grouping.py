"""What a descriptor says of machines taken together: placement groups, order of start, how often each shall stand.

Who keeps to it is not in here: placement/ keeps apart and together, people and platforms start.

Source: DSP0243 2.x, placement group, placement and scale-out sections; DSP0243, startup section. DSP8023 2.0.1 for the
attributes and their defaults. The two policies' names are from memory of DSP0243.
"""

from collections.abc import Sequence
from typing import Final, Literal

from staddle.kernel import Severity
from staddle.package.configurations import sizes_named
from staddle.package.markup import Element
from staddle.package.model import InstanceCount, PlacementGroup, ScaleOut, Size, StartUp
from staddle.package.reading import Reading, listed

__all__ = ["placement_group_of", "read_placement_groups", "read_scale_out", "read_start_order"]

_POLICIES: Final[dict[str, Literal["apart", "together"]]] = {"availability": "apart", "affinity": "together"}
_DELAY_MOST: Final = 65535  # xs:unsignedShort
_COUNT_MOST: Final = 2**32 - 1  # xs:unsignedInt


def read_placement_groups(
    reading: Reading, envelope: Element, contents: Sequence[Element]
) -> tuple[PlacementGroup, ...]:
    """The groups in order, with what the maker put into each.

    Args: contents: every machine and collection of the package.
    """
    policies: dict[str, tuple[Literal["apart", "together"], str]] = {}
    known: set[str] = set()
    for section in reading.children(envelope, "PlacementGroupSection"):
        group_id = reading.needed(section, "id")
        text = reading.needed(section, "policy")
        if group_id in known:
            reading.fault(f'the placement group "{group_id}" stands twice', at=section)
        known.add(group_id)
        policy = _POLICIES.get(text.lower())
        if policy is not None:
            info = reading.text(section, "Description") or reading.text(section, "Info")
            policies[group_id] = policy, info
        elif text and reading.flag(section, "required", default=True):
            reading.fault(
                f'the placement group "{group_id}" has the policy "{text}"',
                at=section,
                why="the standard's are " + " and ".join(f'"{name}"' for name in _POLICIES),
            )
        elif text:
            reading.finding(
                "placement-policy",
                Severity.RISK,
                f'the placement group "{group_id}" has the policy "{text}" and is passed over',
                at=section,
                why="the standard's are " + " and ".join(f'"{name}"' for name in _POLICIES),
                mend="ask the maker what it means, and state it in the design",
                source="DSP0243 2.x, placement group section",
            )
    members: dict[str, list[str]] = {}
    for content in contents:
        for section in reading.children(content, "PlacementSection"):
            group_id = reading.needed(section, "group")
            if group_id and group_id not in known:
                reading.fault(
                    f'the placement group "{group_id}" is not declared',
                    at=section,
                    why="declared are " + listed(sorted(known)),
                )
            members.setdefault(group_id, []).append(reading.attribute(content, "id") or "")
    return tuple(
        PlacementGroup(group_id=group_id, policy=policy, contents=tuple(members.get(group_id, ())), info=info)
        for group_id, (policy, info) in policies.items()
    )


def placement_group_of(reading: Reading, path: Sequence[Element]) -> str:
    """The group that the machine itself or the nearest collection around it is put into; "" for none."""
    for content in path:
        for section in reading.children(content, "PlacementSection"):
            return (reading.attribute(section, "group") or "").strip()
    return ""


def read_start_order(reading: Reading, path: Sequence[Element]) -> tuple[StartUp, ...]:
    """What the collections around a machine say, the outermost first, each in its order of start."""
    found: list[StartUp] = []
    for collection in reversed(path[1:]):
        collection_id = reading.attribute(collection, "id") or ""
        known = {
            reading.attribute(child, "id")
            for child in reading.children(collection, "VirtualSystem", "VirtualSystemCollection")
        }
        own: list[StartUp] = []
        for section in reading.children(collection, "StartupSection"):
            for element in reading.children(section, "Item"):
                start = _start_up(reading, element, collection_id)
                if start.content_id and start.content_id not in known:
                    reading.fault(
                        f'the order of start names "{start.content_id}", which the collection does not hold',
                        at=element,
                        why=f'the collection "{collection_id}" holds ' + listed(sorted(filter(None, known))),
                    )
                if any(start.content_id == other.content_id for other in own):
                    reading.fault(f'the order of start names "{start.content_id}" twice', at=element)
                own.append(start)
        found += sorted(own, key=lambda start: start.order)
    return tuple(found)


def _start_up(reading: Reading, element: Element, collection_id: str) -> StartUp:
    reading.needed(element, "order")
    return StartUp(
        content_id=reading.needed(element, "id"),
        order=reading.whole(element, "order", most=_DELAY_MOST) or 0,
        start_delay_s=reading.whole(element, "startDelay", most=_DELAY_MOST) or 0,
        stop_delay_s=reading.whole(element, "stopDelay", most=_DELAY_MOST) or 0,
        waits_for_guest=reading.flag(element, "waitingForGuest", default=False),
        start_action=_action(reading, element, "startAction", ("powerOn", "none")),
        stop_action=_action(reading, element, "stopAction", ("powerOff", "guestShutdown", "none")),
        collection=collection_id,
    )


def _action(reading: Reading, element: Element, name: str, allowed: Sequence[str]) -> str:
    text = (reading.attribute(element, name) or "").strip() or allowed[0]
    if text not in allowed:
        reading.finding(
            "start-action",
            Severity.RISK,
            f'ovf:{name} is "{text}"; it is read as "{allowed[0]}"',
            at=element,
            why="the standard's are " + ", ".join(f'"{one}"' for one in allowed),
            source="DSP0243, startup section",
        )
        return allowed[0]
    return text


def read_scale_out(
    reading: Reading, path: Sequence[Element], sizes: tuple[Size, ...], known: frozenset[str]
) -> tuple[ScaleOut, ...]:
    """How often this machine and the collections around it are meant to stand, the outermost first.

    Args: known: ids of every machine and collection of the package.
    """
    own = {reading.attribute(content, "id") or "" for content in path}
    found: list[ScaleOut] = []
    for collection in reversed(path[1:]):
        for section in reading.children(collection, "ScaleOutSection"):
            content_id = reading.needed(section, "id")
            if content_id and content_id not in known:
                reading.fault(
                    f'the scale-out section names "{content_id}", which the package does not hold',
                    at=section,
                    why="ovf:id names the machine or collection that stands several times",
                )
            counts = _counts(reading, section, content_id, sizes)
            if content_id in own:
                found.append(
                    ScaleOut(
                        content_id=content_id,
                        counts=counts,
                        description=reading.text(section, "Description") or reading.text(section, "Info"),
                    )
                )
    return tuple(found)


def _counts(
    reading: Reading, section: Element, content_id: str, sizes: tuple[Size, ...]
) -> tuple[InstanceCount, ...]:
    counts: dict[str, InstanceCount] = {}
    for element in reading.children(section, "InstanceCount"):
        reading.needed(element, "default")
        default = reading.whole(element, "default", most=_COUNT_MOST)
        stated = reading.whole(element, "minimum", most=_COUNT_MOST)
        least = 1 if stated is None else stated
        most = reading.whole(element, "maximum", most=_COUNT_MOST)
        if default is None:
            continue
        if not least <= default <= (default if most is None else most):
            reading.fault(
                f'"{content_id}" shall stand {default} times, from {least} to {"any number" if most is None else most}',
                at=element,
                why="the default lies between minimum and maximum",
            )
        for size_id in sizes_named(reading, element, sizes) or ("",):
            if size_id in counts:
                reading.fault(
                    f'"{content_id}" has two counts'
                    + (f' for the configuration "{size_id}"' if size_id else " without a configuration"),
                    at=element,
                )
            counts[size_id] = InstanceCount(size_id=size_id, least=least, default=default, most=most)
    if not counts and not reading.faults:
        reading.fault("a ScaleOutSection has no InstanceCount", at=section, why="the schema requires one")
    return tuple(counts.values())
