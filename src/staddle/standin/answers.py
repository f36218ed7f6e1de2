"""What the member was told: reads and checks the OVF environment document, from the CD or by itself. Not here: what is done with it.

Source: DSP0243 and DSP8027: root ``Environment``, a ``PropertySection`` of ``Property`` with ``key`` and ``value``,
names and attributes in the environment namespace. DSP0243, ISO transport: ``ovf-env.xml`` in the root of the CD.
"""

import ipaddress
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, NoReturn

from staddle.standin.disc import is_disc, read_from_disc
from staddle.standin.refusal import StartRefused

__all__ = ["Answers", "answers_from_kept", "is_host_name", "kept_answers", "read_answers"]

_NAMESPACE = "{http://schemas.dmtf.org/ovf/environment/1}"
_NAME_ON_DISC = "ovf-env.xml"
_LARGEST_DOCUMENT_BYTES = 1 << 20
_LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")  # RFC 1123 §2.1, lower case
_LEVELS = ("error", "warning", "info", "debug")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """The checked answers; addresses as text in their shortest form."""

    host_name: str
    management_address: str
    management_prefix: int
    gateway: str
    telemetry_address: str
    telemetry_prefix: int
    dns_servers: tuple[str, ...]
    ntp_servers: tuple[str, ...]
    time_zone: str
    log_level: str
    cluster_name: str
    retention_days: int
    admin_password: str
    version: str


class _NoDoctype(ET.TreeBuilder):
    # The hook runs when the declaration opens, before any entity in it can be declared.
    def doctype(self, name: str, pubid: str | None, system: str | None) -> NoReturn:
        raise StartRefused("the answers carry a document type declaration; that is never read")


def is_host_name(text: str) -> bool:
    """True for a full host name of at least two labels, lower case."""
    labels = text.split(".")
    return len(text) <= 253 and len(labels) >= 2 and all(_LABEL.fullmatch(label) for label in labels)


def read_answers(path: Path) -> Answers:
    """The answers of an environment document, or of a CD's image that holds one.

    Raises: StartRefused: not readable, or every missing and wrong answer in one go. No answer's value is shown for
        the password.
    """
    told = _properties(path)
    faults: list[str] = []
    values: dict[str, Any] = {}
    for key, (check, expected) in _EXPECTED.items():
        text = told.get(f"sluicelog.{key}", "4.2.0" if key == "version" else "").strip(" \t\r\n")
        if not text:
            faults.append(f"answer sluicelog.{key} is missing: {expected} is expected")
            continue
        try:
            values[key] = check(text)
        except ValueError:
            shown = "its value" if key == "admin_password" else f'"{text}"'
            faults.append(f"answer sluicelog.{key}: {shown} is not {expected}")
    faults.extend(_contradictions(values))
    if faults:
        raise StartRefused(*faults)
    return Answers(**values)


def kept_answers(answers: Answers) -> dict[str, Any]:
    """What of the answers is kept for later starts, as JSON has it: all but the password, which is used at the first start only."""
    return {
        key: list(value) if isinstance(value, tuple) else value
        for key, value in asdict(answers).items()
        if key != "admin_password"
    }


def answers_from_kept(kept: dict[str, Any]) -> Answers:
    """The answers of the first start, for one that finds no document any more; without the password.

    Raises: StartRefused: what was kept is not whole.
    """
    told: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in kept.items()
    }
    try:
        return Answers(**{**told, "admin_password": ""})
    except TypeError as exc:
        raise StartRefused("the answers that were kept at the first start are not whole") from exc


def _contradictions(values: dict[str, Any]) -> Iterator[str]:
    """Answers that are well-formed each by itself and wrong together."""
    for place in ("management", "telemetry"):
        address, prefix = values.get(f"{place}_address"), values.get(f"{place}_prefix")
        if address is None or prefix is None:
            continue
        if prefix > ipaddress.ip_address(address).max_prefixlen:
            yield f'answer sluicelog.{place}_prefix: "{prefix}" is too long for {address}'
        elif place == "management" and "gateway" in values:
            network = ipaddress.ip_network(f"{address}/{prefix}", strict=False)
            if ipaddress.ip_address(values["gateway"]) not in network:
                yield f'answer sluicelog.gateway: "{values["gateway"]}" is not in {network}'
    if "management_address" in values and values["management_address"] == values.get("telemetry_address"):
        yield f'answer sluicelog.telemetry_address: "{values["telemetry_address"]}" is the management address'


def _properties(path: Path) -> dict[str, str]:
    try:
        data = _document(path)
        root = ET.fromstring(data, parser=ET.XMLParser(target=_NoDoctype()))
    except OSError as exc:
        raise StartRefused(f"the answers cannot be read: {exc.strerror}") from exc
    except (ET.ParseError, ValueError, LookupError) as exc:
        raise StartRefused(f"the answers are not XML: {exc}") from exc
    if root.tag != f"{_NAMESPACE}Environment":
        raise StartRefused(f"the answers are not an OVF environment document: the root is {root.tag}")
    told: dict[str, str] = {}
    for row in root.iterfind(f"{_NAMESPACE}PropertySection/{_NAMESPACE}Property"):
        key = row.get(f"{_NAMESPACE}key", "")
        if key in told:
            raise StartRefused(f'the answers name the property "{key}" twice')
        told[key] = row.get(f"{_NAMESPACE}value", "")
    return told


def _document(path: Path) -> bytes:
    if is_disc(path):
        return read_from_disc(path, _NAME_ON_DISC, most_bytes=_LARGEST_DOCUMENT_BYTES)
    with path.open("rb") as file:
        data = file.read(_LARGEST_DOCUMENT_BYTES + 1)
    if len(data) > _LARGEST_DOCUMENT_BYTES:
        raise StartRefused("the answers are larger than 1 MiB")
    return data


def _matching(test: Callable[[str], object]) -> Callable[[str], str]:
    def check(text: str) -> str:
        if not test(text):
            raise ValueError(text)
        return text

    return check


def _whole(least: int, most: int) -> Callable[[str], int]:
    def check(text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,9}", text) or not least <= int(text) <= most:
            raise ValueError(text)
        return int(text)

    return check


def _several(check: Callable[[str], str]) -> Callable[[str], tuple[str, ...]]:
    return lambda text: tuple(check(part.strip()) for part in text.split(","))


def _address(text: str) -> str:
    return str(ipaddress.ip_address(text))


def _address_or_name(text: str) -> str:
    return text if is_host_name(text) else _address(text)


_EXPECTED: dict[str, tuple[Callable[[str], object], str]] = {
    "host_name": (_matching(is_host_name), "a full host name in lower case"),
    "management_address": (_address, "an IP address"),
    "management_prefix": (_whole(0, 128), "a prefix length"),
    "gateway": (_address, "an IP address"),
    "telemetry_address": (_address, "an IP address"),
    "telemetry_prefix": (_whole(0, 128), "a prefix length"),
    "dns_servers": (_several(_address), "a list of IP addresses"),
    "ntp_servers": (_several(_address_or_name), "a list of IP addresses or host names"),
    "time_zone": (_matching(re.compile(r"UTC|[A-Za-z]+(/[A-Za-z0-9_+-]+)+").fullmatch), "a time zone's name"),
    "log_level": (_matching(_LEVELS.__contains__), "one of " + ", ".join(_LEVELS)),
    "cluster_name": (_matching(lambda text: len(text) <= 64), "a name of at most 64 characters"),
    "retention_days": (_whole(1, 65535), "a number of days from 1 to 65535"),
    "admin_password": (_matching(lambda text: 8 <= len(text) <= 128), "a password of 8 to 128 characters"),
    "version": (_matching(re.compile(r"\d+(\.\d+){1,3}").fullmatch), "a version"),
}
