"""Units, findings, errors, the ports of time and randomness, values as JSON. Imports nothing of ours."""

from staddle.kernel.clock import Clock, Random, SystemClock, SystemRandom
from staddle.kernel.errors import (
    Fault,
    InputRefused,
    NotAllowed,
    OurFault,
    OutcomeUnknown,
    OutsideFailed,
    StaddleError,
)
from staddle.kernel.findings import Finding, Severity, worst_first
from staddle.kernel.jsonvalues import canonical_json, digest_of, from_json, pretty_json
from staddle.kernel.units import (
    format_binary,
    format_decimal,
    format_duration,
    parse_bytes,
    parse_days,
    parse_duration,
)

__all__ = [
    "Clock",
    "Fault",
    "Finding",
    "InputRefused",
    "NotAllowed",
    "OurFault",
    "OutcomeUnknown",
    "OutsideFailed",
    "Random",
    "Severity",
    "StaddleError",
    "SystemClock",
    "SystemRandom",
    "canonical_json",
    "digest_of",
    "format_binary",
    "format_decimal",
    "format_duration",
    "from_json",
    "parse_bytes",
    "parse_days",
    "parse_duration",
    "pretty_json",
    "worst_first",
]
