"""The cautions that stand on every output that someone may act on."""

from typing import Final

__all__ = ["CAUTIONS"]

CAUTIONS: Final = (
    "Follow your organisation's change control, the maker's supported configurations and local rules; they come first.",
    "Keep a tested backup before any change.",
    "Where the appliance watches plant that can hurt people, its outage needs that plant's own procedure.",
    "This tool computes from what it was given; whoever is authorised to signs the work off.",
)
