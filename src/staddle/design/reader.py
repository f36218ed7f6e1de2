"""Strict reading of the job folder's YAML files: every fault at once, at its file:line:column, in our words.

read_design reads design.yaml; read_model and read_rows read any file that has a pydantic model (waivers, limits,
profiles); read_yaml_strict reads plain values. All take text, so that no file is touched here.
"""

from dataclasses import dataclass
from typing import Generic, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from staddle.design.checks import faults_between
from staddle.design.markedyaml import MarkedValue, compose
from staddle.design.model import Design
from staddle.design.modelfaults import faults_of
from staddle.design.places import LocatedFault, Places, raise_sorted
from staddle.kernel import InputRefused, OurFault

__all__ = ["Read", "ReadDesign", "read_design", "read_model", "read_rows", "read_yaml_strict"]

T = TypeVar("T")
M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True, slots=True, kw_only=True)
class Read(Generic[T]):
    """What a file says, and where each value of it stands."""

    value: T
    places: Places


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadDesign:
    """The design, and where each value of it stands: ``read.places.find("members[1].name")``."""

    design: Design
    places: Places


def read_design(text: str, *, where: str) -> ReadDesign:
    """The design from the text of design.yaml.

    Args: where: the file's name as it should be told, for example "design.yaml".
    Raises: InputRefused: every fault of the file, in the order of the file.
    """
    marked = _composed(text, where)
    design, faults = _validated(marked, Design)
    between = [marked.places.fault_at(path, fault) for path, fault in faults_between(marked.value)]
    raise_sorted([*marked.faults, *faults, *between])
    return ReadDesign(design=_there(design), places=marked.places)


def read_model(text: str, kind: type[M], *, where: str) -> Read[M]:
    """A file whose whole is one model.

    Raises: InputRefused: every fault of the file, in the order of the file.
    """
    marked = _composed(text, where)
    value, faults = _validated(marked, kind)
    raise_sorted([*marked.faults, *faults])
    return Read(value=_there(value), places=marked.places)


def read_rows(text: str, kind: type[M], *, where: str) -> Read[tuple[M, ...]]:
    """A file that is a list of rows, each one model; an empty file has no rows.

    Raises: InputRefused: every fault of the file, in the order of the file.
    """
    marked = compose(text, where=where)
    if marked.value is None and not marked.faults:
        return Read(value=(), places=marked.places)
    value, faults = _validated(marked, tuple[kind, ...])  # type: ignore[valid-type]  # a type made at run time
    raise_sorted([*marked.faults, *faults])
    return Read(value=_there(value), places=marked.places)


def read_yaml_strict(text: str, *, where: str) -> Read[object]:
    """Plain values: dict, tuple, str, int, float, bool, date, None.

    Raises: InputRefused: every fault of the file, in the order of the file.
    """
    marked = compose(text, where=where)
    raise_sorted(marked.faults)
    return Read(value=marked.value, places=marked.places)


def _composed(text: str, where: str) -> MarkedValue:
    marked = compose(text, where=where)
    if marked.value is None and not marked.faults:
        raise InputRefused.one(
            "the file says nothing", where=f"{where}:1:1", mend="write it, or restore it from version control"
        )
    return marked


def _validated(marked: MarkedValue, kind: type[T]) -> tuple[T | None, list[LocatedFault]]:
    try:
        return TypeAdapter(kind).validate_python(marked.value), []
    except ValidationError as exc:
        return None, list(faults_of(exc, kind, marked.places))


def _there(value: T | None) -> T:
    # A fault was raised before this line if there is no value.
    if value is None:
        raise OurFault.one("a file without faults has no value")
    return value
