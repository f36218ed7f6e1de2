"""Cases as JUnit XML, the form that build servers read. What a case is about is its caller's.

Source: the form has no standard; element and attribute names are those that build servers read (common practice).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from xml.etree import ElementTree

__all__ = ["JunitCase", "suite_text"]

# XML 1.0 §2.2: what is no Char stands in no document, not even as a reference. Somebody else may have sent it.
_NO_CHAR: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True, kw_only=True)
class JunitCase:
    """One case: failed where ``failure`` says something, skipped where ``skipped`` does, else passed.

    ``told`` is the failure's text, or what is told of a case that passed.
    """

    group: str
    name: str
    failure: str = ""
    skipped: str = ""
    told: str = ""


def suite_text(name: str, cases: Sequence[JunitCase], *, at: datetime) -> str:
    """The XML document as text, with its declaration and a last newline. Args: at: aware, told in UTC."""
    suite = ElementTree.Element(
        "testsuite",
        name=_plain(name),
        tests=str(len(cases)),
        failures=str(sum(bool(case.failure) for case in cases)),
        errors="0",
        skipped=str(sum(bool(case.skipped) and not case.failure for case in cases)),
        timestamp=at.replace(microsecond=0, tzinfo=None).isoformat(),
    )
    for case in cases:
        element = ElementTree.SubElement(
            suite, "testcase", classname=_plain(case.group), name=_plain(case.name)
        )
        if case.failure:
            failure = ElementTree.SubElement(element, "failure", message=_plain(case.failure))
            failure.text = _plain(case.told)
        elif case.skipped:
            ElementTree.SubElement(element, "skipped", message=_plain(case.skipped))
        elif case.told:
            ElementTree.SubElement(element, "system-out").text = _plain(case.told)
    ElementTree.indent(suite)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(suite, encoding="unicode") + "\n"


def _plain(text: str) -> str:
    return _NO_CHAR.sub("\N{REPLACEMENT CHARACTER}", text)
