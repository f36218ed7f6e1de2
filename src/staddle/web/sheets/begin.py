"""The sheet begin: a package, an estate and eight questions become a design. Before that, only estate and package can be seen.

What an answer may be is design/'s, what is there on the disk jobs/'s.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final, TypeVar

from staddle.design.questions import (
    QUESTIONS,
    BeginAnswers,
    NetworkAnswer,
    parse_network_answer,
    parse_window_answer,
)
from staddle.jobs.begin import (
    begin,
    networks_of_package,
    refuse_begun,
    refuse_unknown_network,
    refuse_unknown_profile,
)
from staddle.jobs.draft import (
    drop_draft,
    estate_place,
    is_begun,
    name_estate,
    name_package,
    package_of_draft,
    packages_near,
    read_draft,
    upload_package,
)
from staddle.jobs.estate import estate_as_it_is
from staddle.jobs.profiles import installed_profiles
from staddle.kernel import Fault, InputRefused, StaddleError
from staddle.web.sheet import Ask, Moved, Sheet, Shown

__all__ = ["SHEET", "BeginData"]

_LATER: Final = ("package", "estate", "networks")
"""Questions that have a place of their own on the sheet."""
_MORE: Final = (
    ("owner", "the team that answers for the cluster"),
    ("engineer", "who carries the work out"),
    ("change", "reference in your change control"),
    ("survey_limit", "the oldest survey to work with, such as 30 d"),
)
_LINES: Final = (
    ("time_servers", "time servers of the members, one a line"),
    ("name_servers", "name servers, one a line; blank: those of the estate's networks"),
    ("windows", "when change is allowed, one a line: 2026-12-05 20:00 to 2026-12-06 02:00 Europe/London"),
)

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionShown:
    """One of the eight, asked as ``begin`` asks it."""

    key: str
    sentence: str
    default: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BeginData:
    """What is known before the design is there. Of a job that is begun only ``folder`` and ``begun``."""

    folder: str
    begun: bool
    near: tuple[str, ...] = ()
    package: str = ""
    product: str = ""
    sizes: tuple[tuple[str, str], ...] = ()
    networks: tuple[str, ...] = ()
    package_faults: tuple[Fault, ...] = ()
    estate: str = ""
    estate_folder: str = ""
    estate_sentence: str = ""
    estate_networks: tuple[tuple[str, str], ...] = ()
    sites: tuple[str, ...] = ()
    questions: tuple[QuestionShown, ...] = ()
    profiles: tuple[str, ...] = ()
    more: tuple[tuple[str, str], ...] = ()
    lines: tuple[tuple[str, str], ...] = ()


def _view(ask: Ask) -> Shown:
    folder = ask.place.folder
    if is_begun(folder):
        return Shown(data=BeginData(folder=str(folder.root), begun=True))
    draft = read_draft(folder)
    product = ""
    sizes: tuple[tuple[str, str], ...] = ()
    networks: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    if draft.package:
        try:
            _, default, report = package_of_draft(folder, ask.now, verify=False)
            found = report.package
            product = f"{found.product} {found.version}"
            sizes = tuple(
                (
                    size.size_id,
                    f"{size.label or size.size_id}{' (default)' if size.size_id == default else ''}",
                )
                for size in found.sizes
                if size.size_id
            )
            networks = found.networks
        except StaddleError as exc:
            faults = exc.faults
    sentence, there, sites = _estate(ask)
    return Shown(
        data=BeginData(
            folder=str(folder.root),
            begun=False,
            near=packages_near(folder),
            package=draft.package,
            product=product,
            sizes=sizes,
            networks=networks,
            package_faults=faults,
            estate=draft.estate,
            estate_folder=str(estate_place(folder)),
            estate_sentence=sentence,
            estate_networks=there,
            sites=sites,
            questions=tuple(
                QuestionShown(key=one.key, sentence=one.sentence, default=one.default)
                for one in QUESTIONS
                if one.key not in _LATER
            ),
            profiles=installed_profiles(),
            more=_MORE,
            lines=_LINES,
        )
    )


def _estate(ask: Ask) -> tuple[str, tuple[tuple[str, str], ...], tuple[str, ...]]:
    """What the tables say in a sentence, their networks and sites; empty where they cannot be read yet."""
    try:
        found = estate_as_it_is(estate_place(ask.place.folder), ask.now).reading.estate
    except StaddleError:
        return "", (), ()
    return (
        f"{found.name}: {len(found.hosts)} hosts, {len(found.pools)} pools, {len(found.guests)} guests.",
        tuple((network.name, network.prefix) for network in found.networks),
        tuple(domain.name for domain in found.domains if domain.kind == "site"),
    )


def _package(ask: Ask) -> Moved:
    folder = ask.place.folder
    upload, path = ask.files.get("upload"), ask.form.get("path", "").strip()
    if (upload is None) == (not path):
        raise InputRefused.one(
            "neither a path nor a file was given" if not path else "a path and a file were given",
            mend="give one of them",
        )
    with ask.place.writing:
        if upload is not None:
            upload_package(folder, upload.name, upload.content)
        else:
            name_package(folder, path)
    return Moved(to="/begin#estate")


def _name_estate(ask: Ask) -> Moved:
    path = ask.form.get("path", "").strip()
    if not path:
        raise InputRefused.one("no folder was named", mend="name the folder of the tables")
    with ask.place.writing:
        name_estate(ask.place.folder, path)
    return Moved(to="/begin#estate")


class _Read:
    """Reads answers and collects what is wrong with them, told with the question's label."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def one(self, where: str, read: Callable[[], T]) -> T | None:
        try:
            return read()
        except StaddleError as exc:
            self.faults += [
                Fault(what=one.what, where=where, why=one.why, mend=one.mend) for one in exc.faults
            ]
            return None


def _answer(ask: Ask) -> Moved:
    folder, form = ask.place.folder, ask.form
    refuse_begun(folder.root)
    draft, read = read_draft(folder), _Read()
    checks = {question.key: question.check for question in QUESTIONS}
    told = {
        key: read.one(key, partial(checks[key], form.get(key, ""))) for key in checks if key not in _LATER
    }
    if told["profile"]:
        read.one("profile", lambda: refuse_unknown_profile(str(told["profile"])))
    networks = read.one("package", lambda: _networks(ask, draft.package, draft.estate, read)) or ()
    windows = [read.one("windows", partial(parse_window_answer, text)) for text in _rows(form, "windows")]
    if read.faults:
        raise InputRefused(*read.faults)
    answers = BeginAnswers(
        job=str(told["job"]),
        cluster=str(told["cluster"]),
        package=draft.package,
        profile=str(told["profile"]),
        estate=draft.estate,
        members=int(str(told["members"])),
        zone=str(told["zone"]),
        networks=networks,
        size=form.get("size", ""),
        site=form.get("site", "").strip(),
        owner=form.get("owner", "").strip(),
        engineer=form.get("engineer", "").strip(),
        survey_limit=form.get("survey_limit", "").strip(),
        change=form.get("change", "").strip(),
        time_servers=_rows(form, "time_servers"),
        name_servers=_rows(form, "name_servers"),
        windows=tuple(window for window in windows if window is not None),
    )
    with ask.place.writing:
        begin(folder.root, answers)
        drop_draft(folder)
    return Moved(to="/standing")


def _networks(ask: Ask, package: str, estate: str, read: _Read) -> tuple[NetworkAnswer, ...]:
    folder, form = ask.place.folder, ask.form
    if not package:
        raise InputRefused.one("no package was named yet", mend="name one above, then answer")
    answers = []
    for name in networks_of_package(folder.root, package):
        text = f"{form.get(f'network {name}', '').strip()} {form.get(f'first {name}', '').strip()}"

        def answer(name: str = name, text: str = text) -> NetworkAnswer:
            found = parse_network_answer(name, text)
            refuse_unknown_network(folder.root, estate, found)
            return found

        found = read.one(f"network {name}", answer)
        answers += [found] if found is not None else []
    return tuple(answers)


def _rows(form: Mapping[str, str], name: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in form.get(name, "").splitlines() if line.strip())


SHEET: Final = Sheet(
    name="begin",
    title="Begin",
    purpose="A package, an estate and eight questions make a design.",
    order=30,
    view=_view,
    acts={"package": _package, "estate": _name_estate, "answer": _answer},
    is_before_begin=True,
)
