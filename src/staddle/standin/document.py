"""The shared document: what all members agree on, and every change that may be made to it. Pure; no I/O, no clock.

Each change takes a private copy, alters it, and raises Refusal where it is not allowed. Not here: how a change
reaches a majority (core.py).
"""

import hashlib
from typing import Any

from staddle.standin.refusal import Refusal

__all__ = [
    "Document",
    "Version",
    "add_member",
    "add_secret",
    "checked_record",
    "digest_of_secret",
    "majority_of",
    "name_deputy",
    "new_document",
    "put_value",
    "remove_member",
    "version_of",
    "was_admitted",
]

Document = dict[str, Any]
Version = tuple[int, int]

MOST_VALUES = 1000
_SPENT_SECRETS_KEPT = 100
_RECORD = {
    "name": str,
    "address": str,
    "port": int,
    "telemetry_address": str,
    "fingerprint": str,
    "version": str,
    "processors": int,
    "memory_mib": int,
}


def new_document(cluster_id: str, name: str, record: dict[str, Any]) -> Document:
    """The document of a cluster with one member."""
    return {
        "version": [0, 0],
        "cluster": {"id": cluster_id, "name": name},
        "deputy": None,
        "started": False,
        "admin": None,
        "members": {record["name"]: record},
        "secrets": [],
        "values": {},
    }


def version_of(document: Document | None) -> Version:
    """(term, index) of the document; (0, 0) for none. Later documents are greater."""
    return (0, 0) if document is None else (document["version"][0], document["version"][1])


def majority_of(document: Document) -> int:
    """How many members are more than half."""
    return len(document["members"]) // 2 + 1


def checked_record(told: object) -> dict[str, Any]:
    """A member's own record as it came over the wire, exactly its fields."""
    if not isinstance(told, dict) or set(told) != set(_RECORD):
        raise Refusal(400, "bad-request", "the member's record has other fields than expected")
    for field, kind in _RECORD.items():
        if type(told[field]) is not kind:
            raise Refusal(400, "bad-request", f"the member's {field} is not of the expected type")
    return told


def digest_of_secret(secret: str) -> str:
    """What is kept of a join secret. Plain SHA-256 is enough for 256 random bits."""
    return hashlib.sha256(secret.encode()).hexdigest()


def add_secret(document: Document, name: str, digest: str, expires_s: float) -> None:
    """Record a new secret for a name; an unused earlier one of that name is revoked."""
    if name in document["members"]:
        raise Refusal(409, "name-taken", f"{name} is a member already")
    rows = document["secrets"]
    for row in rows:
        if row["name"] == name and row["state"] == "unused":
            row["state"] = "revoked"
    rows.append({"digest": digest, "name": name, "expires_s": expires_s, "state": "unused"})
    spent = [row for row in rows if row["state"] != "unused"]
    for row in spent[: max(0, len(spent) - _SPENT_SECRETS_KEPT)]:
        rows.remove(row)


def was_admitted(document: Document, record: dict[str, Any], digest: str) -> bool:
    """True where this very machine came in with this very secret: asking again is then harmless."""
    member = document["members"].get(record["name"])
    return (
        member is not None
        and member["fingerprint"] == record["fingerprint"]
        and any(row["digest"] == digest and row["name"] == record["name"] for row in document["secrets"])
    )


def add_member(document: Document, record: dict[str, Any], digest: str, now_s: float) -> None:
    """Admit a member and use up its secret."""
    row = next((row for row in document["secrets"] if row["digest"] == digest), None)
    if row is None:
        raise Refusal(403, "secret-unknown", "this join secret was never issued here")
    if row["name"] != record["name"]:
        raise Refusal(403, "secret-wrong-name", f"this join secret was not issued for {record['name']}")
    if row["state"] == "used":
        raise Refusal(403, "secret-used", "this join secret has been used; each is good for one join")
    if row["state"] == "revoked":
        raise Refusal(403, "secret-revoked", "this join secret was replaced by a later one for the same name")
    if now_s >= row["expires_s"]:
        raise Refusal(403, "secret-expired", "this join secret has expired; issue a new one")
    for member in document["members"].values():
        if member["name"] == record["name"] or member["address"] == record["address"]:
            raise Refusal(409, "name-taken", f"{member['name']} at {member['address']} is a member already")
        if member["version"] != record["version"]:
            raise Refusal(
                409, "version-differs", f"the cluster runs {member['version']}, not {record['version']}"
            )
    row["state"] = "used"
    document["members"][record["name"]] = record


def remove_member(document: Document, name: str, leader: str) -> None:
    """Take a member out; the leader cannot go."""
    if name not in document["members"]:
        raise Refusal(404, "unknown-member", f"{name} is not a member")
    if name == leader:
        raise Refusal(409, "is-leader", f"{name} leads; another must lead before it can be removed")
    del document["members"][name]
    if document["deputy"] == name:
        document["deputy"] = None


def name_deputy(document: Document, name: str, leader: str) -> None:
    """Name the member that takes over first."""
    if name not in document["members"]:
        raise Refusal(404, "unknown-member", f"{name} is not a member")
    if name == leader:
        raise Refusal(409, "is-leader", f"{name} leads and cannot be its own deputy")
    document["deputy"] = name


def put_value(document: Document, key: str, value: str, version: Version) -> None:
    """Set one value; the service must have been started."""
    if not document["started"]:
        raise Refusal(409, "not-started", "the service has not been started")
    if key not in document["values"] and len(document["values"]) >= MOST_VALUES:
        raise Refusal(409, "too-many", f"there are {MOST_VALUES} values already")
    document["values"][key] = {"value": value, "term": version[0], "index": version[1]}
