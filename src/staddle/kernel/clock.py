"""Ports for time and randomness, and the one real implementation of each.

Every core function takes an instant or a port; only jobs/ hands in the system's.
"""

import secrets
from datetime import UTC, datetime
from typing import Protocol

__all__ = ["Clock", "Random", "SystemClock", "SystemRandom"]


class Clock(Protocol):
    """Where time comes from."""

    def now(self) -> datetime:
        """The instant, aware and in UTC."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Wait without holding a thread. Not negative."""
        ...


class Random(Protocol):
    """Where unguessable values come from."""

    def token(self, length_bytes: int) -> bytes:
        """That many random bytes, fit for secrets."""
        ...


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        return datetime.now(UTC)

    async def sleep(self, seconds: float) -> None:
        import asyncio  # most commands never wait, and its import takes as long as reading a job

        await asyncio.sleep(seconds)


class SystemRandom:
    """The operating system's random source."""

    def token(self, length_bytes: int) -> bytes:
        return secrets.token_bytes(length_bytes)
