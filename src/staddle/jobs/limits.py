"""limits: what the maker supports by its papers, what is unknown, the questions on paper, a first limits.yaml."""

from dataclasses import dataclass

from staddle.design.limitpaper import limits_form, limits_starter
from staddle.design.limits import Limits, read_limits
from staddle.design.reader import read_design
from staddle.jobs.folder import JobFolder, write_text
from staddle.kernel import InputRefused, NotAllowed, StaddleError
from staddle.package import read_package

__all__ = ["LimitsReport", "limits_in", "look_at_limits", "start_limits"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsReport:
    """The limits (None: no file), the unknown questions as (what, question, place), and the form for the maker."""

    limits: Limits | None
    unknown: tuple[tuple[str, str, str], ...]
    form: str


def limits_in(folder: JobFolder) -> Limits | None:
    """The job's limits.yaml; None where there is none. Raises: InputRefused: every fault of the file."""
    if not folder.limits.is_file():
        return None
    try:
        text = folder.limits.read_text(encoding="utf-8")
    except UnicodeDecodeError as exc:
        raise InputRefused.one(
            f"byte {exc.start + 1} of the file is not UTF-8",
            where="limits.yaml",
            mend="save the file as UTF-8",
        ) from exc
    return read_limits(text, where="limits.yaml")


def look_at_limits(folder: JobFolder) -> LimitsReport:
    """What is known, what is not, and the form. Changes nothing.

    Raises: InputRefused: every fault of limits.yaml, or of the design that names the package.
    """
    limits = limits_in(folder)
    product, version = _product(folder)
    return LimitsReport(
        limits=limits,
        unknown=tuple(
            (question.what, question.asks, place) for question, place in (limits or Limits(rows=())).unknown()
        ),
        form=limits_form(product=product, version=version, known=limits),
    )


def start_limits(folder: JobFolder) -> str:
    """Write a limits.yaml with every question and no answer.

    Returns: the file's name below the job folder. Raises: NotAllowed: there is one already; nothing was changed.
    """
    if folder.limits.exists():
        raise NotAllowed.one("there is a limits.yaml already", where=str(folder.limits), mend="edit it")
    write_text(folder.limits, limits_starter())
    return folder.limits.name


def _product(folder: JobFolder) -> tuple[str, str]:
    """Product and version of the package; blank while there is no package, since the maker can be asked before."""
    design = read_design(folder.design.read_text(encoding="utf-8"), where="design.yaml").design
    try:
        package = read_package(folder.beside_design(design.package.file), machine=design.package.machine)
    except StaddleError:
        return "", ""
    return package.product, package.version
