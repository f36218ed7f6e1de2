"""What a sheet is: its address, its place in the set, what it shows, and what can be done on it. Sheets stand in sheets/.

A view and an act are plain functions of a request; they run in a thread of their own and may take their time.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from staddle.trust.secrets import Secret
from staddle.web.workplace import Workplace

__all__ = ["Ask", "File", "Moved", "Part", "Sheet", "Shown", "Upload"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """One file that was handed in with a form: the name the browser gave it, and its bytes."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One request. ``form`` and ``files`` are empty unless something is to be done."""

    place: Workplace
    now: datetime
    query: Mapping[str, str] = field(default_factory=dict)
    form: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, Upload] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What a view shows: a frozen value for template and JSON. ``note`` tells what was just done, once.

    ``secrets`` go into this one page and into no document of any other form.
    """

    data: object
    note: str = ""
    secrets: Mapping[str, Secret] = field(default_factory=dict)
    status: int = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What an act ends with: the address at which its outcome is seen (RFC 9110 §15.4.4, 303)."""

    to: str


@dataclass(frozen=True, slots=True, kw_only=True)
class File:
    """Bytes as they are. ``policy`` replaces the pages' own where a file brings its style inside; ``name`` makes it a download."""

    content: bytes
    media_type: str
    policy: str = ""
    name: str = ""


View = Callable[[Ask], Shown]
Act = Callable[[Ask], Shown | Moved]
Part = Callable[[Ask], File]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet of the set.

    Args: name: its address and its template; order: where it stands in the order of the job, with gaps for later ones;
        acts: what can be done on it, by the word at the end of the address; parts: files that belong to it; is_live: parts of
        it change while it is looked at; is_before_begin: it shows something before there is a design, too.
    """

    name: str
    title: str
    purpose: str
    order: int
    view: View
    acts: Mapping[str, Act] = field(default_factory=dict)
    parts: Mapping[str, Part] = field(default_factory=dict)
    is_live: bool = False
    is_before_begin: bool = False
