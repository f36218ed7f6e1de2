"""The command survive: what each failure takes, what then still serves, and who restarts where."""

import textwrap
from datetime import timedelta
from typing import Annotated, Final

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import WIDTH, Screen
from staddle.jobs.survive import Basis, EvacuationReport, NamedReport, SurviveReport, empty_hosts, fail
from staddle.jobs.survive import survive as judge_all
from staddle.kernel import InputRefused, SystemClock, format_binary, format_duration
from staddle.survival.failuretable import Asked, Doubles
from staddle.survival.judge import ALL, SOME, Judgement
from staddle.survival.serving import State
from staddle.survival.times import Span

__all__ = ["survive"]

_MOST_ROWS: Final = 20
_MOST_NAMED: Final = 6
_MOST_LEFT: Final = 5


def survive(
    *,
    fail_now: Annotated[str, Parameter(name="--fail")] = "",
    evacuate: str = "",
    without_pairs: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Tell what each failure takes, whether the cluster serves then, and who restarts where.

    Judges every host, pool and domain failed alone, every two hosts, and what the design names; or whether hosts may be
    emptied now. The placement is the settled one, or the one that place would find.

    Example: staddle survive

    Parameters
    ----------
    fail_now
        Judge these hosts, pools or domains failed together, in full: NAME[,NAME].
    evacuate
        Tell whether these hosts may be emptied now, and in which order: HOST[,HOST].
    without_pairs
        Leave out the pairs of hosts.
    """
    screen = Screen("survive", as_json=options.json)
    now, folder = SystemClock().now(), options.folder()
    if fail_now and evacuate:
        raise InputRefused.one(
            "--fail and --evacuate ask different questions", mend="ask one of them at a time"
        )
    if evacuate:
        return _evacuation(screen, empty_hosts(folder, now, _names(evacuate)))
    if fail_now:
        return _named(screen, fail(folder, now, _names(fail_now)))
    return _table(screen, judge_all(folder, now, doubles=not without_pairs, progress=screen.say))


def _names(text: str) -> list[str]:
    names = [name.strip() for name in text.split(",")]
    if not all(names):
        raise InputRefused.one(f'"{text}" names nothing between two commas', mend="write A,B")
    return names


def _table(screen: Screen, report: SurviveReport) -> int:
    table = report.table
    _basis(screen, report.basis)
    for asked in table.asked:
        _hanging(screen, "", f"{asked.sentence}: {_holds(asked)}")
        for one in asked.fails[:3]:
            _hanging(screen, "  ", f"{one.scenario.name}: {_why(one)}")
    screen.show()
    _rows(screen, "single failures, worst first", table.singles, members=report.basis.members)
    if table.doubles is not None:
        screen.show()
        _pairs(screen, table.doubles, members=report.basis.members)
    screen.show()
    _hanging(screen, "", f"times: {report.basis.times}")
    screen.show(f"written: {', '.join(report.files)}")
    fine = all(
        asked.judged == asked.of and not asked.failing and not asked.undecided for asked in table.asked
    )
    screen.document("outlived" if fine else "not outlived", {"basis": report.basis, "table": table})
    return 0 if fine else 1


def _basis(screen: Screen, basis: Basis) -> None:
    if basis.placement == "none":
        screen.show("no placement: the estate is judged alone, without members")
    else:
        serves = f"it serves with {basis.least_data} data members, most of the votes and one that may lead"
        screen.show(f"{basis.cluster}: {basis.members} members as placed ({basis.placement}); {serves}")
    screen.show(f"{basis.hosts} hosts and {basis.guests} guests of others as surveyed on {basis.surveyed}")
    screen.show()


def _holds(asked: Asked) -> str:
    if not asked.of:
        return "the estate has no such domains, so nothing was judged"
    of = f" ({asked.of} judged)" if asked.judged == asked.of else f" ({asked.judged} of {asked.of} judged)"
    if asked.failing:
        return f"{asked.failing} are NOT outlived{of}"
    if asked.undecided or asked.judged < asked.of:
        return f"undecided for {asked.undecided + asked.of - asked.judged}{of}"
    return f"outlived{of}"


def _why(one: Judgement) -> str:
    told = [f"the cluster is down: {one.why}"] if one.at_once is State.DOWN else []
    if one.restarts != ALL:
        told.append(f"{one.restarts}: {one.reason}")
    return "; ".join(told) or "outlived"


def _states(one: Judgement) -> str:
    return str(one.at_once) if one.at_once == one.afterwards else f"{one.at_once}, then {one.afterwards}"


def _rows(screen: Screen, title: str, judged: tuple[Judgement, ...], *, members: int) -> None:
    heads = ("failed", "ours", "the cluster", "back after", "guests lost", "restart", "stay down")
    rows = [
        (
            one.scenario.name,
            _ours(one),
            _states(one) if members else "–",
            _span(one.back),
            str(one.guests_lost),
            str(one.guests_restarted),
            _down(one),
        )
        for one in judged[:_MOST_ROWS]
    ]
    screen.table(title, heads, rows, whole="failed")
    if len(judged) > _MOST_ROWS:
        screen.show(f"and {len(judged) - _MOST_ROWS} more that are no worse; all stand in the record")
    for one in judged[:3]:
        if one.restarts != ALL:
            _hanging(screen, "", f"{one.scenario.name}: {one.restarts}: {one.reason}")


def _ours(one: Judgement) -> str:
    parts = []
    if one.members_lost:
        parts.append(f"{_some(one.members_lost)} lost")
    if one.members_displaced:
        parts.append(f"{_some(one.members_displaced)} displaced")
    return "; ".join(parts) or "–"


def _down(one: Judgement) -> str:
    if one.restarts == ALL:
        return "0"
    return (
        f"{len(one.not_restarted)}"
        if one.restarts == SOME
        else f"undecided, at most {len(one.not_restarted)}"
    )


def _span(span: Span | None) -> str:
    if span is None:
        return "–"
    low, high = (format_duration(timedelta(seconds=s)) for s in (span.low_s, span.high_s))
    return f"{low} to {high}"


def _some(names: tuple[str, ...]) -> str:
    rest = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def _pairs(screen: Screen, doubles: Doubles, *, members: int) -> None:
    screen.show(f"every two hosts at once: {doubles.pairs} pairs")
    if members:
        screen.show("  the cluster at once: " + _counts(doubles.states))
    screen.show("  what is displaced: " + _counts(doubles.restarts))
    screen.show("  decided by: " + _counts(doubles.decided))
    if doubles.worst:
        screen.show()
        _rows(screen, "pairs of hosts, some of the worst", doubles.worst, members=members)


def _counts(counts: tuple[tuple[str, int], ...]) -> str:
    return ", ".join(f"{word} {count}" for word, count in counts if count) or "nothing"


def _named(screen: Screen, report: NamedReport) -> int:
    one = report.judgement
    _basis(screen, report.basis)
    screen.show(f"{one.scenario.name}")
    screen.show(f"  fails hosts: {_some(one.scenario.hosts) or 'none'}")
    screen.show(f"  fails pools: {_some(one.scenario.pools) or 'none'}")
    screen.show(f"  ours: {_ours(one)}")
    screen.show(f"  the cluster at once: {one.at_once}" + (f", {one.why}" if one.why else ""))
    after = f", {one.why_afterwards}" if one.why_afterwards else ""
    screen.show(f"  the cluster afterwards: {one.afterwards}{after}")
    screen.show(f"  back after: {_span(one.back)}")
    screen.show(f"  guests of others: {one.guests_lost} lost, {one.guests_restarted} restarted")
    _hanging(screen, "  ", f"{one.restarts}" + (f": {one.reason}" if one.reason else ""))
    if one.not_restarted:
        _hanging(screen, "  ", f"stay down: {', '.join(one.not_restarted)}")
    if one.seats:
        screen.show()
        screen.table("restarts, in their order", ("machine", "on host"), one.seats)
    fine = one.at_once is not State.DOWN and one.restarts == ALL
    screen.document("outlived" if fine else "not outlived", report)
    return 0 if fine else 1


def _evacuation(screen: Screen, report: EvacuationReport) -> int:
    found = report.evacuation
    _basis(screen, report.basis)
    who = ", ".join(found.hosts)
    if found.may != ALL:
        word = "may not be emptied" if found.may == SOME else "may be emptied or not: undecided"
        _hanging(screen, "", f"{who} {word}: {found.reason}")
        _hanging(screen, "  ", f"stay: {', '.join(found.staying)}")
        screen.document("may not" if found.may == SOME else "undecided", report)
        return 1
    screen.show(f"{who} may be emptied: each of {len(found.moves)} machines has a place to go")
    if found.moves:
        screen.show()
        rows = [
            (
                str(number),
                move.machine,
                move.to_host,
                format_binary(move.memory_bytes),
                move.how,
                str(move.choices),
            )
            for number, move in enumerate(found.moves, 1)
        ]
        screen.table("moves, in this order", ("no.", "machine", "to host", "memory", "how", "choices"), rows)
        screen.show("live: both hosts are of one CPU level; restart: the levels differ or are not known")
    screen.show()
    left = [
        (row.host, f"{format_binary(row.memory_bytes)} of {format_binary(row.of_bytes)}")
        for row in found.left
    ]
    screen.table("then the fullest hosts have left", ("host", "memory"), left[:_MOST_LEFT])
    screen.show()
    bad, only_then = found.next_failures, found.only_then
    if bad:
        before = len(bad) - len(only_then)
        screen.show(
            f"while they are empty, {len(bad)} of {found.judged} single failures are not outlived; "
            f"{before} of these are not outlived now either"
        )
        new_first = sorted(bad, key=lambda one: one.scenario.name not in only_then)
        for one in new_first[:_MOST_ROWS]:
            mark = "only then: " if one.scenario.name in only_then else "now too: "
            _hanging(screen, "  ", f"{mark}{one.scenario.name}: {_why(one)}")
    else:
        screen.show(f"while they are empty, each of {found.judged} single failures is still outlived")
    screen.document("may, with less reserve" if only_then else "may", report)
    return 1 if only_then else 0


def _hanging(screen: Screen, indent: str, text: str) -> None:
    for line in textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "    ",
        break_long_words=False,
        break_on_hyphens=False,
    ):
        screen.show(line)
