"""Which internet addresses may be asked on the word of a person: public ones alone, never this machine or its neighbours."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

_NAT64 = ip_network("64:ff9b::/96")  # RFC 6052
_REFUSED = tuple(
    ip_network(network)
    for network in (
        "100.64.0.0/10",  # shared by a provider's customers, RFC 6598
        "192.88.99.0/24",  # relays of 6to4, withdrawn by RFC 7526
        "::/96",  # IPv4 written as IPv6, withdrawn by RFC 4291
        "64:ff9b:1::/48",  # translated within one network, RFC 8215
        "2001::/32",  # tunnels to behind a router, RFC 4380
    )
)


def is_public(text: str) -> bool:
    """Whether an address belongs to a machine that the whole internet reaches. False for whatever is not an address.

    Source: IANA's special-purpose registries as the standard library holds them, and the standards named above. An IPv4 address inside
    an IPv6 one (mapped, 6to4, NAT64) is judged as itself.
    """
    try:
        address = ip_address(text)
    except ValueError:
        return False
    inner = _inner(address)
    if inner is not None:
        return is_public(str(inner))
    return address.is_global and not (
        address.is_multicast
        or address.is_private
        or address.is_loopback
        or address.is_link_local
        or address.is_unspecified
        or address.is_reserved
        or (isinstance(address, IPv6Address) and (address.is_site_local or address.scope_id is not None))
        or any(address in network for network in _REFUSED)
    )


def _inner(address: IPv4Address | IPv6Address) -> IPv4Address | None:
    if isinstance(address, IPv4Address):
        return None
    if address in _NAT64:
        return IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour
