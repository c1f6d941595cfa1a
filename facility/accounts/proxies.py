"""Whose request it is, where proxies that we trust stand in front: else all who come through one share its limits.

From elsewhere X-Forwarded-For counts for nothing: anybody can write one.
"""

from __future__ import annotations

from collections.abc import Callable
from ipaddress import IPv6Address, ip_address, ip_network
from typing import TYPE_CHECKING

from django.conf import settings
from django.http import HttpRequest, HttpResponse

if TYPE_CHECKING:
    from collections.abc import Iterable
    from ipaddress import IPv4Address

PEER = "deepstead.peer"
"""What a request's META holds: the address that spoke with this box itself."""
MOST_HOPS = 20


class ClientAddressMiddleware:
    """Put the address of who asks in the place of the trusted proxy's that passed the request on."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        peer = request.META.get("REMOTE_ADDR", "")
        request.META[PEER] = peer
        if settings.TRUSTED_PROXIES:
            request.META["REMOTE_ADDR"] = client_of(peer, request.headers.get("X-Forwarded-For", ""))
        return self.get_response(request)


def client_of(peer: str, forwarded_for: str) -> str:
    """Return the nearest address that is no trusted proxy's, read from the end: what stands before it may be invented.

    Where an entry is no address, or none is left, it is the last trusted one.
    """
    here = peer
    for entry in reversed(forwarded_for.split(",")[-MOST_HOPS:]):
        if not is_one_of(here, settings.TRUSTED_PROXIES):
            return here
        address = read(entry)
        if address is None:
            return here
        here = str(address)
    return here


def read(entry: str) -> IPv4Address | IPv6Address | None:
    """Return an address as proxies write it, also with a port; none if it is none.

    >>> str(read(" [2001:db8::7]:4711")), str(read("192.0.2.7:80")), str(read("::ffff:192.0.2.7")), read("unknown")
    ('2001:db8::7', '192.0.2.7', '192.0.2.7', None)
    """
    text = entry.strip()
    if text.startswith("["):
        text = text[1:].partition("]")[0]
    elif text.count(":") == 1:
        text = text.partition(":")[0]
    try:
        found = ip_address(text)
    except ValueError:
        return None
    mapped = found.ipv4_mapped if isinstance(found, IPv6Address) else None
    return mapped or found


def is_one_of(address: str, networks: Iterable[str]) -> bool:
    """Return whether an address is one of these, or lies in one of these networks."""
    here = read(address)
    return here is not None and any(here in ip_network(one, strict=False) for one in networks)
