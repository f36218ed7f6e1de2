"""The address at which the product is used once it runs: ``${name}`` in it stands for an answer. Pure.

Source: DSP0243, product section: values of properties are put into AppUrl. That the section's own property comes first where
several sections have one of that name, and that no secret is put into an address, is common practice, no source.
"""

import re
from collections.abc import Mapping
from typing import Final

from staddle.package.model import Package

__all__ = ["REFERENCE", "application_address"]

REFERENCE: Final = re.compile(r"\$\{([^{}]+)\}")


def application_address(
    package: Package, size_id: str, answers: Mapping[str, str | None] | None = None
) -> str:
    """The address with what is known put in, once: an answer that itself holds ``${…}`` stays as it is.

    Args: size_id: whose defaults are taken where there is no answer; answers: by full key, None for one that is not known yet
        or not to be shown.
    Returns: "" where the maker names none. A name of which nothing is known, or a secret, stays as the maker wrote it.
    """
    given = answers or {}
    known: dict[str, str] = {}
    properties = {prop.key: prop for prop in package.properties}
    for name, key in package.application_url_keys:
        prop = properties[key]
        if not prop.password and prop.offered_in(size_id):
            known[name] = given[key] or "" if key in given else prop.default_for(size_id)
    return REFERENCE.sub(lambda found: known.get(found[1]) or found[0], package.application_url)
