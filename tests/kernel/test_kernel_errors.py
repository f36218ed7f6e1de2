"""The text of errors: what, where, why, the mend; the tree of classes."""

import pytest

from staddle.kernel import (
    Fault,
    Finding,
    InputRefused,
    NotAllowed,
    OurFault,
    OutcomeUnknown,
    OutsideFailed,
    Severity,
    StaddleError,
    worst_first,
)


def test_a_fault_is_told_in_four_parts_in_their_order() -> None:
    error = InputRefused.one(
        "member log-2 has no address",
        where="design.yaml:12:5",
        why="the block is used up",
        mend="begin at .10",
    )
    assert str(error) == (
        "error: member log-2 has no address\n"
        "  where: design.yaml:12:5\n"
        "  why:   the block is used up\n"
        "  try:   begin at .10"
    )


def test_parts_that_say_nothing_are_left_out() -> None:
    assert str(NotAllowed.one("the job is sealed")) == "error: the job is sealed"


def test_all_faults_are_told_with_a_blank_line_between() -> None:
    error = InputRefused(Fault(what="a"), Fault(what="b", mend="mend b"))
    assert str(error) == "error: a\n\nerror: b\n  try:   mend b"
    assert [fault.what for fault in error.faults] == ["a", "b"]


def test_an_error_without_a_fault_cannot_be_made() -> None:
    with pytest.raises(AssertionError, match="an error without a fault tells its reader nothing"):
        InputRefused()


def test_not_known_is_a_kind_of_outside_failure_and_never_the_other_way() -> None:
    assert issubclass(OutcomeUnknown, OutsideFailed)
    assert not issubclass(OutsideFailed, OutcomeUnknown)
    assert all(issubclass(kind, StaddleError) for kind in (InputRefused, NotAllowed, OutsideFailed, OurFault))


def test_one_makes_the_class_it_is_called_on() -> None:
    assert type(OutcomeUnknown.one("the reply never came")) is OutcomeUnknown


def test_findings_are_sorted_by_severity_then_rule_then_place() -> None:
    def finding(rule: str, severity: Severity, where: str = "") -> Finding:
        return Finding(rule=rule, severity=severity, what="x", where=where)

    rows = (
        finding("b", Severity.NOTE),
        finding("b", Severity.STOP, "2"),
        finding("z", Severity.RISK),
        finding("b", Severity.STOP, "1"),
        finding("a", Severity.STOP),
    )
    assert [(f.rule, f.where) for f in worst_first(rows)] == [
        ("a", ""),
        ("b", "1"),
        ("b", "2"),
        ("z", ""),
        ("b", ""),
    ]
