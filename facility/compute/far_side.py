"""Which network addresses a notice may be sent to: none that leads back into this machine or its link.

Sources: RFC 6890 (blocks for special purposes), RFC 4291 section 2.5.5, RFC 6052, RFC 8215, RFC 3056. The addresses at
which clouds tell a machine its secrets are from memory. Addresses of the own network (RFC 1918, RFC 4193) are
taken: push servers stand there.
"""

from __future__ import annotations

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from typing import Final

Address = IPv4Address | IPv6Address

NEVER: Final = tuple(
    ip_network(block)
    for block in (
        "0.0.0.0/8",  # this host (RFC 6890, table 1)
        "192.0.0.0/24",  # protocol assignments (RFC 6890, table 7)
        "192.88.99.0/24",  # relays that are no more (RFC 7526)
        "100.100.100.200/32",  # a cloud's own, from memory
        "fd00:ec2::/32",  # a cloud's own, from memory
        "::/96",  # an IPv4 address written as IPv6, no longer in use (RFC 4291, section 2.5.5.1)
        "64:ff9b:1::/48",  # translation of the own network, which nobody else can read (RFC 8215)
    )
)
TRANSLATED: Final = ip_network("64:ff9b::/96")  # RFC 6052, section 2.1
LOW_BITS: Final = 0xFFFFFFFF


def is_refused(text: str) -> bool:
    """Return whether nothing is sent to this address. What is no address is refused.

    >>> [is_refused(one) for one in ("127.0.0.1", "::ffff:169.254.169.254", "192.168.1.9", "fd12::9")]
    [True, True, False, False]
    """
    try:
        found = _inner(ip_address(text.partition("%")[0]))
    except ValueError:
        return True
    special = found.is_loopback or found.is_link_local or found.is_unspecified or found.is_multicast
    reserved = isinstance(found, IPv4Address) and found.is_reserved
    old_local = isinstance(found, IPv6Address) and found.is_site_local
    return special or reserved or old_local or any(found in block for block in NEVER)


def _inner(found: Address) -> Address:
    """Return the IPv4 address that an IPv6 one carries, or the address itself."""
    if isinstance(found, IPv4Address):
        return found
    if found in TRANSLATED:
        return IPv4Address(int(found) & LOW_BITS)
    return found.ipv4_mapped or found.sixtofour or found
