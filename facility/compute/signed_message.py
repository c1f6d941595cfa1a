"""HTTP messages signed with a shared key: RFC 9421 with hmac-sha256, over a digest of the content by RFC 9530.

Sources: RFC 9421, sections 2.2, 2.3, 2.5 and 3.3.3; RFC 9530, section 2.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

LABEL: Final = "deepstead"
COVERED: Final = ("content-type", "content-digest", "idempotency-key")
"""The fields of a message that are signed, beside method and address."""
PORTS: Final = {"http": 80, "https": 443}


def content_digest(body: bytes) -> str:
    """Return the value of Content-Digest (RFC 9530, section 2).

    >>> content_digest(b"")
    'sha-256=:47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=:'
    """
    return f"sha-256=:{_base64(hashlib.sha256(body).digest())}:"


def of_address(url: str) -> dict[str, str]:
    """Return the parts of a POST that RFC 9421, sections 2.2.1 to 2.2.7, derives from its address.

    >>> of_address("https://Example.org:443/a/b?c=1")["@authority"]
    'example.org'
    """
    parts = urlsplit(url)
    host = parts.netloc.lower()
    if parts.port == PORTS.get(parts.scheme):
        host = host.removesuffix(f":{parts.port}")
    return {"@method": "POST", "@authority": host, "@path": parts.path or "/", "@query": f"?{parts.query}"}


def parameters(names: Iterable[str], created: int, key_id: str) -> str:
    """Return the signature's parameters (RFC 9421, section 2.3). ``created``: seconds since 1970.

    >>> parameters(["date", "@authority"], 1618884473, "a key")
    '("date" "@authority");created=1618884473;keyid="a key"'
    """
    covered = " ".join(f'"{name}"' for name in names)
    return f'({covered});created={created};keyid="{key_id}"'


def signature_base(components: Mapping[str, str], told: str) -> bytes:
    """Return the text that is signed (RFC 9421, section 2.5): a line a component, no line end after the last."""
    lines = [f'"{name}": {value.strip()}' for name, value in components.items()]
    return "\n".join([*lines, f'"@signature-params": {told}']).encode("ascii")


def signature(base: bytes, key: bytes) -> str:
    """Return the HMAC-SHA-256 of a signature base (RFC 9421, section 3.3.3), in base64."""
    return _base64(hmac.digest(key, base, "sha256"))


def signed(url: str, headers: Mapping[str, str], *, key: bytes, key_id: str, created: int) -> dict[str, str]:
    """Return the two fields that sign a POST of these headers, named in lower case.

    Errors: KeyError if one of COVERED is not there.
    """
    components = of_address(url) | {name: headers[name] for name in COVERED}
    told = parameters(components, created, key_id)
    made = signature(signature_base(components, told), key)
    return {"signature-input": f"{LABEL}={told}", "signature": f"{LABEL}=:{made}:"}


def _base64(raw: bytes) -> str:
    return base64.b64encode(raw).decode("ascii")
