"""One request to another's server, to an address that is looked up once and looked at first.

The name is resolved here and never again: what is connected to is the address that was found to be
public, while certificate and Host are held to the name. A redirect is an answer like any other, and
nothing of an answer is read but its status.
"""

import http.client
import socket
import ssl
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from typing import Final

from ledger.web_addresses import Network, WebAddress, choose

# All of it together, however slowly the other side speaks (Standard Webhooks 1.0.0: 15 to 30 s).
TIMEOUT_S: Final = 15


def post(
    address: WebAddress,
    body: bytes,
    headers: Mapping[str, str],
    *,
    allowed: Sequence[Network],
    context: ssl.SSLContext | None = None,
    within_s: float = TIMEOUT_S,
) -> int:
    """Post once and return the status of the answer.

    Raises AddressRefused for an address that must not be reached, OSError where there is none or
    no answer in time, and HTTPException for an answer that is none.
    """
    found = socket.getaddrinfo(address.host, address.port, type=socket.SOCK_STREAM)
    addresses = [str(one[4][0]) for one in found]
    chosen = choose(addresses, secure=address.secure, allowed=allowed)
    with (
        closing(_connected(chosen, address.port, within_s)) as bare,
        closing(bare.dup()) as line,
        _hung_up_on(line, within_s) as late,
        closing(_secured(bare, address, context)) as wire,
    ):
        status = _exchange(wire, address, body, headers)
    if late.is_set():
        raise TimeoutError("The answer took too long.")
    return status


def _connected(ip: str, port: int, within_s: float) -> socket.socket:
    """A connection to this very address; nothing is looked up."""
    bare = socket.socket(socket.AF_INET6 if ":" in ip else socket.AF_INET)
    bare.settimeout(within_s)
    try:
        bare.connect((ip, port))
    except OSError:
        bare.close()
        raise
    return bare


@contextmanager
def _hung_up_on(line: socket.socket, within_s: float) -> Iterator[threading.Event]:
    """Hang up when the time is over, and say so.

    A timeout of the socket counts from byte to byte; this one counts for all of them.
    """
    late = threading.Event()

    def hang_up() -> None:
        late.set()
        with suppress(OSError):
            line.shutdown(socket.SHUT_RDWR)

    guard = threading.Timer(within_s, hang_up)
    guard.daemon = True
    guard.start()
    try:
        yield late
    finally:
        guard.cancel()


def _secured(
    bare: socket.socket, address: WebAddress, context: ssl.SSLContext | None
) -> socket.socket:
    if not address.secure:
        return bare
    return (context or ssl.create_default_context()).wrap_socket(bare, server_hostname=address.host)


def _exchange(
    wire: socket.socket, address: WebAddress, body: bytes, headers: Mapping[str, str]
) -> int:
    connection = http.client.HTTPConnection(address.host, address.port)
    connection.sock = wire
    connection.request(
        "POST",
        address.target,
        body,
        {"Host": address.host_header, "Connection": "close", **headers},
    )
    return connection.getresponse().status
