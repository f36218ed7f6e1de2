"""The chance that a group of channels fails on demand where faults are found by proof tests only.

What it teaches of clusters: with a common-cause share β a pair is about 1/β times better than one, however good each is.

Source: IEC 61508-6 annex B, simplified equations of 1oo1, 1oo2 and 2oo3 (from memory), with β_D = β/2.
"""

from dataclasses import dataclass

__all__ = ["Channel", "pfd_1oo1", "pfd_1oo2", "pfd_2oo3"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel.

    Args: dangerous_per_h: λ_D; coverage: the share of it that diagnosis finds at once, 0 to 1; test_h: T1, from proof
        test to proof test; repair_h: the mean time to restoration.
    """

    dangerous_per_h: float
    coverage: float
    test_h: float = 8760
    repair_h: float = 8

    @property
    def found_per_h(self) -> float:
        """λ_DD."""
        return self.dangerous_per_h * self.coverage

    @property
    def hidden_per_h(self) -> float:
        """λ_DU."""
        return self.dangerous_per_h * (1 - self.coverage)

    def down_h(self, parts: int) -> float:
        """The mean time for which a fault lasts: t_CE with 2 parts of the test interval, t_GE with 3."""
        return (1 - self.coverage) * (self.test_h / parts + self.repair_h) + self.coverage * self.repair_h


def pfd_1oo1(channel: Channel) -> float:
    """The average chance that one channel fails on demand."""
    return channel.dangerous_per_h * channel.down_h(2)


def pfd_1oo2(channel: Channel, beta: float) -> float:
    """The same where one of two channels is enough. Args: beta: share of hidden faults that take all channels."""
    return 2 * _apart(channel, beta) + _together(channel, beta)


def pfd_2oo3(channel: Channel, beta: float) -> float:
    """The same where two of three channels are needed."""
    return 6 * _apart(channel, beta) + _together(channel, beta)


def _apart(channel: Channel, beta: float) -> float:
    per_h = (1 - beta / 2) * channel.found_per_h + (1 - beta) * channel.hidden_per_h
    return per_h**2 * channel.down_h(2) * channel.down_h(3)


def _together(channel: Channel, beta: float) -> float:
    found = beta / 2 * channel.found_per_h * channel.repair_h
    return found + beta * channel.hidden_per_h * (channel.test_h / 2 + channel.repair_h)
