"""What is answered to each question of the package, and why. Frozen values; the rules are in resolve.py."""

from dataclasses import dataclass

__all__ = ["AnswerRow", "Answers", "MemberAnswers"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerRow:
    """One question and its answer.

    Exactly one of three: ``value`` (a text, may be empty), ``secret`` (the strongbox's name for it), or ``is_open``.
    ``reason`` says in words where the answer comes from, or what would answer it.
    """

    key: str
    label: str
    category: str
    value: str | None
    secret: str
    reason: str
    is_open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberAnswers:
    """One member's answers, in the order in which the package asks."""

    member: str
    size: str
    rows: tuple[AnswerRow, ...]

    def open_rows(self) -> tuple[AnswerRow, ...]:
        """The questions that nothing answers yet."""
        return tuple(row for row in self.rows if row.is_open)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """All members' answers, in the order of the design."""

    members: tuple[MemberAnswers, ...]

    def get_member(self, member: str) -> MemberAnswers:
        """One member's answers. Raises: KeyError: no such member."""
        return {one.member: one for one in self.members}[member]
