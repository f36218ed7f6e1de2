"""The rows of ``networks`` of one design: addresses, what is attached twice, and members that no row attaches. Pure."""

from collections.abc import Iterator, Sequence
from ipaddress import IPv4Address, IPv6Address, ip_address

from staddle.design.attached import attached_members, attached_rows
from staddle.design.model import Attachment, Member
from staddle.design.places import Path
from staddle.kernel import Fault

__all__ = ["address_faults", "attachment_faults", "find_address"]

Told = tuple[Path, Fault]


def find_address(text: str) -> IPv4Address | IPv6Address | None:
    """The address, None for a text that is none or that names an interface of this machine."""
    try:
        found = ip_address(text)
    except ValueError:
        return None
    return None if isinstance(found, IPv6Address) and found.scope_id else found


def address_faults(path: Path, text: str, *, mend: str = "") -> Iterator[Told]:
    """The fault of a text that is no address, at that path."""
    if find_address(text) is None:
        example = "write for example 192.0.2.11 or 2001:db8::11"
        yield path, Fault(what=f'"{text}" is not an address', mend=mend or example)


def attachment_faults(
    rows: Sequence[tuple[Path, Attachment]], members: Sequence[Member], *, count: int | None
) -> Iterator[Told]:
    """Every fault of the rows of ``networks``, alone, among each other and with the members.

    Args: rows: those that are right on their own; members: all of the design, () where one of them is wrong on its own;
        count: how many there are all the same, None where that is not known either.
    """
    attachments = [one for _, one in rows]
    with_sites = any(one.site for one in attachments)
    for number, (path, one) in enumerate(rows):
        covered = len(attached_members(attachments, members, number)) if members else None
        yield from _one_attachment(path, one, count if not with_sites else covered)
        if covered == 0:
            yield (*path, "site"), _for_nobody(one, members)
    yield from _given_twice(rows)
    yield from _attached_twice(rows)
    if members:
        yield from _of_members(rows, members)


def _for_nobody(one: Attachment, members: Sequence[Member]) -> Fault:
    sites = sorted({member.site for member in members if member.site})
    if one.site:
        return Fault(
            what=f'the attachment of "{one.package}" at {one.site} is for no member',
            why=f"the members' sites are {', '.join(sites)}" if sites else "no member has a site",
            mend="mend the site, give members a site, or remove the row",
        )
    return Fault(
        what=f'the attachment of "{one.package}" without a site is for no member',
        why="every member's site has a row of its own",
        mend="remove the row",
    )


def _given_twice(rows: Sequence[tuple[Path, Attachment]]) -> Iterator[Told]:
    owners: dict[tuple[str, object], str] = {}
    for path, one in rows:
        listed = [((*path, "addresses", n), text) for n, text in enumerate(one.addresses)]
        for at, text in listed or [((*path, "first"), one.first)]:
            found = find_address(text)
            if found is None:
                continue
            said = f"{path[0]}[{path[1]}]"
            owner = owners.setdefault((one.estate, found), said)
            if owner != said or (one.addresses and (one.estate, text) in _before(one, at)):
                yield (
                    at,
                    Fault(
                        what=f"{text} is given twice on {one.estate}",
                        why=f"it is given in {owner} already",
                        mend="give each member an address of its own",
                    ),
                )


def _attached_twice(rows: Sequence[tuple[Path, Attachment]]) -> Iterator[Told]:
    attached: set[tuple[str, str, int]] = set()
    for path, one in rows:
        version = _version(one)
        if version and (one.package, one.site, version) in attached:
            at_site = f" at {one.site}" if one.site else ""
            yield (
                (*path, "package"),
                Fault(
                    what=f'the package network "{one.package}" is attached twice for IPv{version}{at_site}',
                    why="an adapter is connected to one network; a second row may add the other kind of address",
                    mend="keep one of the two rows",
                ),
            )
        attached.add((one.package, one.site, version))


def _of_members(rows: Sequence[tuple[Path, Attachment]], members: Sequence[Member]) -> Iterator[Told]:
    attachments = [one for _, one in rows]
    told: set[int] = set()
    for number, member in enumerate(members):
        own = attached_rows(attachments, member)
        lacking = dict.fromkeys(one.package for one in attachments)
        for row in own:
            lacking.pop(attachments[row].package, None)
        for package in lacking:
            yield (
                ("members", number, "site") if member.site else ("members", number),
                Fault(
                    what=f'{member.name} has no attachment of "{package}"',
                    why=f"no row of networks is for {member.site or 'members without a site'}",
                    mend=f"add a row with site: {member.site}, or one without a site"
                    if member.site
                    else "give the member a site, or add a row without a site",
                ),
            )
        named: set[int] = set()
        for row in own:
            path, one = rows[row]
            version = _version(one)
            if one.named and version in named and row not in told:
                told.add(row)
                yield (
                    (*path, "named"),
                    Fault(
                        what=f"a second attachment with IPv{version} addresses is named: true",
                        why="a member's DNS name points to one address of a kind",
                        mend="keep named: true on one of them",
                    ),
                )
            if one.named and version:
                named.add(version)


def _before(one: Attachment, at: Path) -> set[tuple[str, str]]:
    number = at[-1]
    return {(one.estate, text) for text in one.addresses[:number]} if isinstance(number, int) else set()


def _version(one: Attachment) -> int:
    found = next((a for a in map(find_address, (*one.addresses, one.first)) if a is not None), None)
    return found.version if found is not None else 0


def _one_attachment(path: Path, one: Attachment, members: int | None) -> Iterator[Told]:
    if one.addresses and one.first:
        yield (
            (*path, "first"),
            Fault(
                what=f'the attachment of "{one.package}" has both addresses and first',
                mend="keep addresses (one a member) or first (consecutive free ones), not both",
            ),
        )
    if not one.addresses and not one.first:
        yield (
            path,
            Fault(
                what=f'the attachment of "{one.package}" has no addresses',
                why="members have fixed addresses from a planned block",
                mend='add a line "first: …" with the first of consecutive free addresses, or addresses, one a member',
            ),
        )
    if one.addresses and members is not None and len(one.addresses) != members:
        yield (
            (*path, "addresses"),
            Fault(
                what=f'the attachment of "{one.package}" has {len(one.addresses)} addresses for {members} members',
                mend="give one address a member, in the order of members",
            ),
        )
    for number, text in enumerate(one.addresses):
        yield from address_faults((*path, "addresses", number), text)
    if one.first:
        yield from address_faults((*path, "first"), one.first)
    if len({found.version for found in map(find_address, one.addresses) if found is not None}) > 1:
        yield (
            (*path, "addresses"),
            Fault(
                what=f'the attachment of "{one.package}" mixes IPv4 and IPv6 addresses',
                mend="write a second row for the other kind, with its own estate network",
            ),
        )
