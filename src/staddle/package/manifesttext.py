"""The text of a manifest: read tolerantly, written strictly. Pure; checking files against it is manifest.py's work.

Source: DSP0243, manifest file (grammar from memory); digest lengths FIPS 180-4.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from staddle.kernel import Fault, InputRefused

__all__ = [
    "DIGEST_DIGITS",
    "ManifestLine",
    "algorithm_of",
    "is_strict",
    "names_twice",
    "read_manifest",
    "write_manifest",
]

DIGEST_DIGITS: Final = {"SHA1": 40, "SHA256": 64, "SHA512": 128}
# The names that openssl 3 writes (its manual, openssl-dgst): makers make manifests with it.
_NAMED_BY_FAMILY: Final = {"SHA2-256": "SHA256", "SHA2-512": "SHA512"}
_STRICT: Final = re.compile(rb"(?:SHA1|SHA256|SHA512)\(.+\)= [0-9a-f]+\n")
# Names may hold blanks and parentheses, so the name ends at the last ")" before the "=".
_LINE: Final = re.compile(
    r"\s*(?P<algorithm>[A-Za-z0-9-]+)\s*\((?P<name>.+)\)\s*=\s*(?P<digest>[0-9A-Fa-f]*)\s*"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ManifestLine:
    """One line: the algorithm (SHA1, SHA256, SHA512), the file's name and its digest in lower-case hex."""

    algorithm: str
    name: str
    digest: str


def read_manifest(data: bytes, *, where: str) -> tuple[ManifestLine, ...]:
    """The lines in order. Blanks, CRLF, upper case, and a missing last newline are tolerated.

    Raises: InputRefused: with every line that cannot be read, a wrong digest length, or contradicting lines.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise InputRefused.one(
            "the manifest is not UTF-8 text", where=where, why=str(exc), mend="fetch the package again"
        ) from exc
    lines: dict[tuple[str, str], ManifestLine] = {}
    faults: list[Fault] = []
    for number, raw in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        if not raw.strip():
            continue
        line = _read_line(raw)
        place = f"{where}:{number}"
        if isinstance(line, str):
            faults.append(
                Fault(
                    what="a line of the manifest cannot be read",
                    where=place,
                    why=line,
                    mend="fetch the package again; if the line stays, ask its maker for a corrected one",
                )
            )
            continue
        earlier = lines.setdefault((line.algorithm, line.name), line)
        if earlier != line:
            faults.append(
                Fault(
                    what=f'the manifest gives two different {line.algorithm} digests for "{line.name}"',
                    where=place,
                    mend="ask the package's maker for a corrected one",
                )
            )
    if not lines and not faults:
        faults.append(Fault(what="the manifest is empty", where=where, mend="fetch the package again"))
    if faults:
        raise InputRefused(*faults)
    return tuple(lines.values())


def _read_line(raw: str) -> ManifestLine | str:
    match = _LINE.fullmatch(raw)
    if match is None:
        return "SHA256(name)= digest is expected"
    algorithm = algorithm_of(match["algorithm"])
    digits = DIGEST_DIGITS.get(algorithm)
    if digits is None:
        return f'the algorithm "{match["algorithm"]}" is not one of {", ".join(DIGEST_DIGITS)}'
    if len(match["digest"]) != digits:
        return f"a {algorithm} digest has {digits} hex digits, this one has {len(match['digest'])}"
    return ManifestLine(algorithm=algorithm, name=match["name"].strip(), digest=match["digest"].lower())


def algorithm_of(written: str) -> str:
    """SHA1, SHA256 or SHA512, however it is written; what is none of these comes back in upper case, without hyphens."""
    name = written.upper()
    return _NAMED_BY_FAMILY.get(name, name.replace("-", ""))


def is_strict(data: bytes) -> bool:
    """Whether a readable manifest is written as the standard has it, to the last blank."""
    return all(_STRICT.fullmatch(line) for line in data.splitlines(keepends=True))


def names_twice(data: bytes) -> tuple[str, ...]:
    """The names of a readable manifest for which the same line stands there more than once; read_manifest reads it once."""
    lines = [
        _read_line(raw) for raw in data.decode("utf-8-sig").replace("\r\n", "\n").split("\n") if raw.strip()
    ]
    seen: set[ManifestLine] = set()
    twice: dict[str, None] = {}
    for line in lines:
        if isinstance(line, ManifestLine):
            if line in seen:
                twice[line.name] = None
            seen.add(line)
    return tuple(twice)


def write_manifest(lines: Iterable[ManifestLine]) -> bytes:
    """The manifest in the strict form: ``SHA256(name)= digest`` and a newline, in the given order."""
    return "".join(f"{line.algorithm}({line.name})= {line.digest}\n" for line in lines).encode()
