"""Which addresses count as public, by IANA's registries of special-purpose addresses and the RFCs named with each."""

from __future__ import annotations

import pytest

from forecaster.sources.public_address import is_public


@pytest.mark.parametrize(
    "address",
    [
        "8.8.8.8",
        "1.1.1.1",
        "100.63.255.255",
        "100.128.0.1",
        "172.15.0.1",
        "172.32.0.1",
        "2606:4700::1111",
        "64:ff9b::808:808",
        "::ffff:8.8.8.8",
    ],
)
def test_addresses_that_the_whole_internet_reaches(address: str) -> None:
    assert is_public(address)


@pytest.mark.parametrize(
    "address",
    [
        *("10.0.0.1", "172.16.0.1", "172.31.255.255", "192.168.1.1", "fc00::1", "fd12::1"),  # RFC 1918, RFC 4193
        *("127.0.0.1", "127.8.8.8", "::1"),  # loopback, RFC 1122, RFC 4291
        *("169.254.169.254", "fe80::1", "fe80::1%eth0", "fec0::1"),  # link-local and site-local, RFC 3927, RFC 4291, RFC 3879
        *("224.0.0.1", "239.1.1.1", "ff02::1", "ff0e::1"),  # multicast, RFC 5771, RFC 4291
        *("0.0.0.0", "0.1.2.3", "::"),  # unspecified and "this network", RFC 1122
        *("240.0.0.1", "255.255.255.255", "192.0.2.1", "198.18.0.1", "2001:db8::1"),  # reserved, documentation, benchmarks
        *("100.64.0.1", "100.127.255.255"),  # RFC 6598
        *("::ffff:127.0.0.1", "::ffff:10.0.0.1", "::ffff:a9fe:a9fe", "::127.0.0.1"),  # IPv4 in IPv6, RFC 4291
        *("2002:7f00:1::", "2002:a00:1::1", "2002:a9fe:a9fe::"),  # 6to4, RFC 3056
        *("64:ff9b::7f00:1", "64:ff9b::a00:1", "64:ff9b::a9fe:a9fe", "64:ff9b:1::808:808"),  # NAT64, RFC 6052, RFC 8215
        *("2001:0:4136:e378:8000:63bf:3fff:fdd2",),  # Teredo, RFC 4380
        *("", "turf.example", "127.1", "0x7f.0.0.1", "8.8.8.8/32", "2130706433"),  # no addresses
    ],
)
def test_addresses_that_are_not_to_be_asked(address: str) -> None:
    assert not is_public(address)
