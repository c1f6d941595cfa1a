"""Addresses that lead back into the machine or its link are refused; those of the own network are not."""

from __future__ import annotations

import pytest

from facility.compute.far_side import is_refused


@pytest.mark.parametrize(
    "address",
    [
        # RFC 6890, tables 1 to 20: loopback, link-local, this host, protocol assignments, reserved, broadcast
        "127.0.0.1", "127.255.255.254", "169.254.0.1", "169.254.169.254", "0.1.2.3", "192.0.0.192",
        "240.0.0.1", "255.255.255.255", "::1", "::", "fe80::1", "fe80::1%eth0", "ff02::1", "224.0.0.1",
        "fec0::1",  # RFC 3879
        "::ffff:127.0.0.1", "::ffff:7f00:1",  # RFC 4291, section 2.5.5.2
        "64:ff9b::7f00:1", "64:ff9b::169.254.169.254",  # RFC 6052, section 2.1
        "::127.0.0.1", "::a9fe:a9fe",  # RFC 4291, section 2.5.5.1
        "64:ff9b:1::7f00:1", "64:ff9b:1:a9fe:a9:fe00::",  # RFC 8215; RFC 6052, section 2.2
        "2002:7f00:1::", "2002:a9fe:a9fe::1",  # RFC 3056, section 2
        "100.100.100.200", "fd00:ec2::254",  # clouds, from memory
        "no address", "", "127.1", "0x7f000001", "2130706433",
    ],
)  # fmt: skip
def test_what_leads_back_or_is_no_address_is_refused(address: str) -> None:
    assert is_refused(address)


@pytest.mark.parametrize(
    "address",
    [
        "10.0.0.9", "172.16.3.4", "192.168.1.20", "fd12:3456::9",  # RFC 1918, RFC 4193: push servers stand there
        "100.64.0.7",  # RFC 6598
        "93.184.215.14", "2606:2800:21f:cb07:6820:80da:af6b:8b2c", "::ffff:192.168.1.20", "64:ff9b::10.0.0.9",
    ],
)  # fmt: skip
def test_the_own_network_and_the_rest_of_the_world_are_taken(address: str) -> None:
    assert not is_refused(address)
