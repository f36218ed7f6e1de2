"""How hard a secret is to guess. No secret is made in here (secrets.py).

Source: NIST SP 800-63B rev. 3 §5.1.2, §5.2.2 (check values i6–i9).
"""

import math

__all__ = [
    "ONLINE_TRIES",
    "PLAIN_HASH_BITS",
    "RATE_LIMIT_BITS",
    "collision_odds",
    "entropy_bits",
    "guessing_odds",
]

RATE_LIMIT_BITS = 64  # SP 800-63B §5.1.2.2: with less, tries must be limited
PLAIN_HASH_BITS = 112  # §5.1.2.2: with less, a stored secret must be salted and stretched
ONLINE_TRIES = 100  # §5.2.2: most consecutive failures on one account


def entropy_bits(choices: int, length: int = 1) -> float:
    """Bits of ``length`` independent draws from equally likely ``choices`` (both at least 1)."""
    return length * math.log2(choices)


def guessing_odds(bits: float, tries: int, *, live_secrets: int = 1) -> float:
    """Upper bound on the chance that ``tries`` guesses hit one of the secrets valid at that time; at most 1."""
    return min(1.0, tries * live_secrets / math.exp2(bits))


def collision_odds(count: int, choices: float) -> float:
    """Chance that two of ``count`` equally likely draws are the same, by 1 − exp(−n(n−1)/2N)."""
    return -math.expm1(-count * (count - 1) / (2.0 * choices))
