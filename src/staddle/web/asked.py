"""What the plan is asked, as it stands in an address: what fails, which racks are open, who is moved where. Nothing is judged."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Self
from urllib.parse import quote, urlencode

from staddle.jobs.plan import part_names

__all__ = ["Asked"]

_MARK: Final = "\0"  # in no name: tables hold none


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One question. ``along``: the others may move along; ``anew``: search though the settled placement is valid."""

    fail: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    member: str = ""
    host: str = ""
    along: bool = False
    empty: str = ""
    anew: bool = False

    @classmethod
    def of(cls, query: Mapping[str, str]) -> Self:
        """Out of the query of an address, or out of a form."""
        return cls(
            fail=part_names(query.get("fail", "")),
            open=part_names(query.get("open", "")),
            member=query.get("member", "").strip(),
            host=query.get("host", "").strip(),
            along=query.get("along") == "yes",
            empty=query.get("empty", "").strip(),
            anew=query.get("anew") == "yes",
        )

    def fields(self) -> dict[str, str]:
        """As a form or an address writes it; what is not asked is left out."""
        return dict(self._fields())

    def _fields(self) -> Iterator[tuple[str, str]]:
        for name, text in (
            ("fail", ",".join(self.fail)),
            ("open", ",".join(self.open)),
            ("member", self.member),
            ("host", self.host),
            ("empty", self.empty),
        ):
            if text:
                yield name, text
        for name, is_so in (("along", self.along), ("anew", self.anew)):
            if is_so:
                yield name, "yes"

    def address(self, place: str = "") -> str:
        """Of the plan with this question. Args: place: an element of the page."""
        query = urlencode(self.fields(), quote_via=quote)
        return "/plan" + (f"?{query}" if query else "") + (f"#{place}" if place else "")

    def toggled(self, name: str) -> "Asked":
        """With that part failed too, or standing again."""
        return replace(self, fail=_toggled(self.fail, name), empty="")

    def opened(self, rack: str) -> "Asked":
        """With that rack open too, or closed."""
        return replace(self, open=_toggled(self.open, rack))

    def failing(self) -> Callable[[str], str]:
        """From a part's name to the address of this question with it toggled; quick, for hundreds of parts."""
        return _filled(self.toggled, self.fail)

    def opening(self) -> Callable[[str], str]:
        """The same for racks that are opened."""
        return _filled(self.opened, self.open)


def _toggled(names: Sequence[str], name: str) -> tuple[str, ...]:
    return tuple(one for one in names if one != name) if name in names else (*names, name)


def _filled(changed: Callable[[str], Asked], there: Sequence[str]) -> Callable[[str], str]:
    # One address is made whole, and the name put into its place for all others.
    before, _, after = changed(_MARK).address().partition(quote(_MARK, safe=""))

    def address(name: str) -> str:
        return changed(name).address() if name in there else f"{before}{quote(name, safe='')}{after}"

    return address
