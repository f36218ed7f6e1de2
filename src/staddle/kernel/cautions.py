"""The limits of the program's advice: said on every output that somebody may act on."""

from typing import Final

__all__ = ["CAUTIONS", "POINTER"]

CAUTIONS: Final = (
    "Follow your organisation's change control, the maker's supported configurations and local rules: they come before "
    "anything that is written here.",
    "Keep a tested backup before any change.",
    "Where the appliance watches plant that can hurt people, its outage needs that plant's own procedure.",
    "The program computes from what it is given: a wrong survey, design or table gives a wrong answer.",
    "A profile is unproven until a rollout with it on the real appliance has been recorded.",
    "Sign-off is given by whoever is authorised to give it, not by this program.",
)

POINTER: Final = "This is advice, not approval: read what comes before it with staddle cautions."
"""Stands for them on a screen that is looked at often; paper, pages and the begin of a rollout have them in full."""
