"""Where messages to programs may go: never to what only this machine or its neighbours can reach.

A name is looked up once, by whoever sends, and every address that it stands for must be public;
what is then connected to is such an address and not the name (OWASP API Security 2023, API7).
"""

import socket
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import Final
from urllib.parse import urlsplit

from ledger.errors import (
    AddressRefused,
    Sentence,
)

LONGEST: Final = 500
Network = IPv4Network | IPv6Network
# An IPv6 address that carries an IPv4 address leads to that one, by way of a gateway: RFC 6052 and
# 8215 (translation), 3056 (6to4), 4380 (Teredo), 4291 (compatible, and site-local as once defined).
GATEWAYS: Final = tuple(
    ip_network(text)
    for text in ("64:ff9b::/96", "64:ff9b:1::/48", "2002::/16", "2001::/32", "::/96", "fec0::/10")
)
# What no name server of the world answers for (RFC 6761, 6762, 8375).
INNER_NAMES: Final = (".localhost", ".local", ".internal", ".home.arpa")


@dataclass(frozen=True, slots=True)
class WebAddress:
    """A URL in its parts: `target` is the path with its query, `written` the whole."""

    written: str
    secure: bool
    host: str
    port: int
    target: str

    @property
    def host_header(self) -> str:
        """The host as a request names it, with the port where it is not the usual one."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == (443 if self.secure else 80) else f"{host}:{self.port}"


def read_address(text: str, *, allowed: Sequence[Network] = ()) -> WebAddress:
    """A URL that messages may go to, as far as can be told without looking up its name.

    With networks that are `allowed`, http and names and addresses from within them may be right;
    whoever sends finds out. Raises AddressRefused.
    """
    if len(text) > LONGEST or not text.isascii() or not text.isprintable() or " " in text:
        raise AddressRefused(
            Sentence("Write the address in at most {longest} ASCII characters.", longest=LONGEST)
        )
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError as error:
        raise AddressRefused("This address cannot be read.") from error
    host = (parts.hostname or "").rstrip(".")
    if parts.scheme not in ({"https", "http"} if allowed else {"https"}) or not host:
        raise AddressRefused("Write an address such as https://example.org/alerts.")
    if parts.username is not None or parts.password is not None or parts.fragment or port == 0:
        raise AddressRefused("An address has no user, no password and no fragment.")
    secure = parts.scheme == "https"
    query = f"?{parts.query}" if parts.query else ""
    found = WebAddress(
        text, secure, host, port or (443 if secure else 80), (parts.path or "/") + query
    )
    _must_be_outer(found, allowed)
    return found


def _must_be_outer(address: WebAddress, allowed: Sequence[Network]) -> None:
    literal = _literal(address.host)
    if literal is not None:
        if not may_reach(literal, secure=address.secure, allowed=allowed):
            raise AddressRefused("This address is not a public one.")
        return
    inner = "." not in address.host or address.host.endswith(INNER_NAMES)
    if inner and not allowed:
        raise AddressRefused("This name is known only within a network; use a public one.")


def _literal(host: str) -> IPv4Address | IPv6Address | None:
    """The address that the host is, if it is one; a number or a short form of one is refused."""
    try:
        return ip_address(host)
    except ValueError:
        pass
    try:
        socket.inet_aton(host)
    except OSError:
        return None
    raise AddressRefused("Write a name, or an address of four decimal numbers.")


def may_reach(
    address: IPv4Address | IPv6Address, *, secure: bool, allowed: Iterable[Network] = ()
) -> bool:
    """Whether a message may go to this address: a public one by https, or one that is allowed."""
    if isinstance(address, IPv6Address) and address.ipv4_mapped is not None:
        address = address.ipv4_mapped
    if any(address.version == one.version and address in one for one in allowed):
        return True
    if isinstance(address, IPv6Address) and (
        address.scope_id is not None or any(address in one for one in GATEWAYS)
    ):
        return False
    return secure and address.is_global and not address.is_multicast and not address.is_reserved


def choose(found: Sequence[str], *, secure: bool, allowed: Sequence[Network] = ()) -> str:
    """The address to connect to among those that a name stands for.

    All of them must be right: a name that is public by one half is not to be trusted. Raises
    AddressRefused.
    """
    addresses = [ip_address(one) for one in found]
    if not addresses or not all(may_reach(a, secure=secure, allowed=allowed) for a in addresses):
        raise AddressRefused("The name leads to an address that is not a public one.")
    return str(addresses[0])
