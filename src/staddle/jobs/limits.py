"""limits: what the maker supports by its papers, what is unknown, the questions on paper, a first limits.yaml."""

from dataclasses import dataclass

from staddle.design.limitpaper import limits_form, limits_starter
from staddle.design.limits import Limits, read_limits
from staddle.jobs.design import design_of
from staddle.jobs.folder import JobFolder, read_text, start_text
from staddle.kernel import StaddleError
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
    return read_limits(read_text(folder.limits), where="limits.yaml")


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
    return start_text(folder.limits, limits_starter())


def _product(folder: JobFolder) -> tuple[str, str]:
    """Product and version of the package; blank while there is no package, since the maker can be asked before."""
    design = design_of(folder)
    try:
        package = read_package(folder.beside_design(design.package.file), machine=design.package.machine)
    except StaddleError:
        return "", ""
    return package.product, package.version
