"""The forms in which a secret could lie somewhere. Not a test."""

import base64
import urllib.parse

from staddle.trust.secrets import Secret

__all__ = ["forms"]


def forms(secret: Secret) -> set[bytes]:
    """The secret as text, in a URL, in hex, and in base64 from each of its three starts."""
    raw = secret.unsafe_reveal().encode()
    coded = {raw, raw.hex().encode(), urllib.parse.quote(raw, safe="").encode()}
    for lead in range(3):
        whole = base64.b64encode(b"\0" * lead + raw)
        core = whole[-(-lead * 8 // 6) : (lead + len(raw)) * 8 // 6]
        coded |= {core, core.replace(b"+", b"-").replace(b"/", b"_")}
    return coded
