"""Where a controller may stand: on the house's own network, and nowhere else.

The address is typed by a person, and the program then knocks there from inside the house. It
must not be made to knock at machines of others, nor at a service of the host that lends addresses
of the link: private networks (RFC 1918, RFC 4193) and this computer itself are all it asks.
"""

import ipaddress
import socket

NEAR = tuple(
    ipaddress.ip_network(network)
    for network in (
        *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8"),
        *("fc00::/7", "::1/128"),
    )
)


class FarAddress(ValueError):
    """An address that is not asked; the message says why and what to do."""


def near_address(host: str, port: int) -> str:
    """Return the address to connect to. Raises FarAddress.

    A name is looked up, and all its addresses must be near; who connects to what is returned
    here cannot be led elsewhere by a name that means something else a moment later.
    """
    found = _addresses(host, port)
    far = [one for one in found if not _is_near(one)]
    if far:
        raise FarAddress(
            f"{host} is not on the house's own network ({far[0]}). Only private addresses are "
            "asked, as 192.168.0.20, so that nobody can make this program knock at machines "
            "of others."
        )
    return found[0]


def _addresses(host: str, port: int) -> list[str]:
    try:
        return [str(ipaddress.ip_address(host))]
    except ValueError:
        pass  # a name
    try:
        rows = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise FarAddress(
            f"No machine of the name {host} is known on this network. Type its address."
        ) from error
    return [str(row[4][0]) for row in rows]


def _is_near(address: str) -> bool:
    try:
        one = ipaddress.ip_address(address)
    except ValueError:
        return False
    return any(one in network for network in NEAR)
