"""Which rows of ``networks`` hold for which member: those of its site, else those without a site. Pure."""

from collections.abc import Sequence

from staddle.design.model import Attachment, Member

__all__ = ["attached_members", "attached_rows"]


def attached_rows(rows: Sequence[Attachment], member: Member) -> tuple[int, ...]:
    """The numbers of the rows by which this member is attached, in the order of the rows.

    Of each network of the package, the rows of the member's site where there are any, else those without a site.
    """
    own = {row.package for row in rows if row.site and row.site == member.site}
    return tuple(
        number for number, row in enumerate(rows) if row.site == (member.site if row.package in own else "")
    )


def attached_members(rows: Sequence[Attachment], members: Sequence[Member], number: int) -> tuple[int, ...]:
    """The numbers of the members that one row attaches, in the order of the members; () where it is for nobody."""
    return tuple(at for at, member in enumerate(members) if number in attached_rows(rows, member))
