"""What was typed into a form, read with its faults told all at once."""

from collections.abc import Mapping
from datetime import date

from staddle.kernel import Fault, InputRefused

__all__ = ["Typed"]


class Typed:
    """Reads fields and collects what is wrong with them. Call ``settle`` before anything is done with the values."""

    def __init__(self, form: Mapping[str, str]) -> None:
        self._form = form
        self._faults: list[Fault] = []

    def text(self, name: str, *, label: str = "", needed: bool = True) -> str:
        """A text without blanks around it."""
        found = self._form.get(name, "").strip()
        if needed and not found:
            self._faults.append(Fault(what=f"{label or name} is empty", where=name, mend="fill it in"))
        return found

    def day(self, name: str, *, label: str = "") -> date:
        """A day as year-month-day."""
        found = self._form.get(name, "").strip()
        try:
            return date.fromisoformat(found)
        except ValueError:
            self._faults.append(
                Fault(
                    what=f'"{found}" is no day' if found else f"{label or name} is empty",
                    where=name,
                    mend="write it as year-month-day, such as 2026-12-01",
                )
            )
            return date.min

    def ticked(self, name: str, *, what: str) -> None:
        """Something that has to be agreed to."""
        if self._form.get(name) != "yes":
            self._faults.append(Fault(what=f"{what} was not agreed to", where=name, mend="tick it first"))

    def settle(self) -> None:
        """Raises: InputRefused: with everything that is wrong."""
        if self._faults:
            raise InputRefused(*self._faults)
