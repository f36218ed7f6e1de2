"""The names under which a rollout's secrets stand in the strongbox."""

from typing import Final

__all__ = ["FIRST_PASSWORD", "PASSWORD", "join_secret_name", "property_secret_name"]

FIRST_PASSWORD: Final = "administrator/first"
"""The administrator's password that goes through the package's answers; it is replaced before the seal."""

PASSWORD: Final = "administrator"
"""The administrator's password that is in force from then on."""


def join_secret_name(member: str) -> str:
    """The one-use secret of one member, while it is needed."""
    return f"join/{member}"


def property_secret_name(key: str) -> str:
    """The answer to any other secret question of the package."""
    return f"property/{key}"
