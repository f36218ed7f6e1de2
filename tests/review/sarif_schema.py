"""What SARIF requires of the part of it that is written, as JSON Schema, written by hand from the standard's clauses.

Source: OASIS Standard, Static Analysis Results Interchange Format (SARIF) Version 2.1.0 (the clauses from memory). The
published schema is not copied. No object may have a property that is not named here, so that a misspelt one is seen.
"""

from typing import Any, Final

__all__ = ["SARIF"]


def _object(required: tuple[str, ...] = (), **properties: object) -> dict[str, Any]:
    return {
        "type": "object",
        "required": list(required),
        "properties": properties,
        "additionalProperties": False,
    }


def _list(of: object) -> dict[str, Any]:
    return {"type": "array", "items": of}


_TEXT: Final = {"type": "string", "minLength": 1}
_FROM_0: Final = {"type": "integer", "minimum": 0}
_FROM_1: Final = {"type": "integer", "minimum": 1}
_LEVEL: Final = {"enum": ["none", "note", "warning", "error"]}  # §3.27.10
_MESSAGE: Final = _object(("text",), text=_TEXT)  # §3.11, §3.12
_URI: Final = {"type": "string", "pattern": r"^[A-Za-z0-9._~:/?#@!$&'()*+,;=%-]+$"}  # RFC 3986 §2
_RULE: Final = _object(  # §3.49
    ("id",),
    id=_TEXT,
    shortDescription=_MESSAGE,
    fullDescription=_MESSAGE,
    help=_MESSAGE,
    defaultConfiguration=_object(level=_LEVEL),
)
_PHYSICAL: Final = _object(  # §3.29; §3.4 for the file, §3.30 for the region
    ("artifactLocation",),
    artifactLocation=_object(("uri",), uri=_URI, uriBaseId=_TEXT),
    region=_object(("startLine",), startLine=_FROM_1, startColumn=_FROM_1),
)
_LOCATION: Final = {  # §3.28
    **_object(
        physicalLocation=_PHYSICAL,
        logicalLocations=_list(_object(("fullyQualifiedName",), fullyQualifiedName=_TEXT)),
    ),
    "minProperties": 1,
}
_SUPPRESSION: Final = _object(  # §3.35
    ("kind",),
    kind={"enum": ["inSource", "external"]},
    status={"enum": ["accepted", "underReview", "rejected"]},
    justification=_TEXT,
)
_RESULT: Final = _object(  # §3.27
    ("message",),
    ruleId=_TEXT,
    ruleIndex=_FROM_0,
    kind={"enum": ["pass", "open", "informational", "notApplicable", "review", "fail"]},
    level=_LEVEL,
    message=_MESSAGE,
    locations=_list(_LOCATION),
    suppressions=_list(_SUPPRESSION),
)
_RUN: Final = _object(  # §3.14
    ("tool",),
    tool=_object(("driver",), driver=_object(("name",), name=_TEXT, version=_TEXT, rules=_list(_RULE))),
    invocations=_list(
        _object(
            ("executionSuccessful",), executionSuccessful={"type": "boolean"}, exitCode={"type": "integer"}
        )
    ),
    originalUriBaseIds={"type": "object", "additionalProperties": _object(uri=_URI, description=_MESSAGE)},
    columnKind={"enum": ["utf16CodeUnits", "unicodeCodePoints"]},
    results=_list(_RESULT),
)
SARIF: Final = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    **_object(("version", "runs"), version={"const": "2.1.0"}, runs=_list(_RUN)),  # §3.13
}
