"""A request to another's server: where it may go, where it goes, and how long it may take."""

import socket
import ssl
import threading
import time
from collections.abc import Iterator
from http.client import HTTPException
from ipaddress import ip_network
from pathlib import Path
from typing import Any

import pytest

from api import outgoing
from ledger.errors import AddressRefused
from ledger.web_addresses import WebAddress, read_address
from tests.races.receiving import Receiving

HOME = (ip_network("127.0.0.0/8"),)
# Of "receiver.example", made for these tests, with its key.
CERTIFICATE = Path(__file__).with_name("receiver_example.pem")


@pytest.fixture
def receiving() -> Iterator[Receiving]:
    with Receiving() as receiving:
        yield receiving


def posted(address: WebAddress, **options: Any) -> int:
    options = {"allowed": HOME, **options}
    return outgoing.post(address, b'{"type":"test"}', {"webhook-id": "1"}, **options)


def named(monkeypatch: pytest.MonkeyPatch, *answers: list[str]) -> list[str]:
    """Have names stand for these addresses, one answer for each time that somebody asks."""
    left, asked = [*answers], []

    def look_up(host: str, port: int, **_: Any) -> list[Any]:
        asked.append(host)
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (ip, port)) for ip in left.pop(0)]

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    return asked


def test_it_is_posted_as_it_is(receiving: Receiving) -> None:
    address = read_address(f"{receiving.url}?of=all", allowed=HOME)
    assert posted(address) == 200
    (one,) = receiving.received
    assert (one.path, one.body, one.id) == ("/alerts?of=all", '{"type":"test"}', "1")
    assert one.headers["Host"] == f"127.0.0.1:{receiving.port}"


@pytest.mark.parametrize("status", [301, 307, 410, 500])
def test_a_redirect_is_an_answer_like_any_other(receiving: Receiving, status: int) -> None:
    receiving.status = status
    assert posted(read_address(receiving.url, allowed=HOME)) == status
    assert len(receiving.received) == 1


@pytest.mark.parametrize("found", [["10.0.0.8"], ["1.1.1.1", "127.0.0.1"], ["169.254.169.254"]])
def test_a_name_that_leads_inside_is_not_connected_to(
    monkeypatch: pytest.MonkeyPatch, found: list[str]
) -> None:
    named(monkeypatch, found)
    monkeypatch.setattr(outgoing, "_connected", lambda *_: pytest.fail("connected"))
    with pytest.raises(AddressRefused):
        posted(read_address("https://receiver.example/"), allowed=())


def test_a_name_is_looked_up_once(receiving: Receiving, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever answers another address the second time is not asked again: that one is the pin."""
    asked = named(monkeypatch, ["127.0.0.1"], ["127.0.0.9"])
    url = f"http://receiver.example:{receiving.port}/"
    assert posted(read_address(url, allowed=HOME)) == 200
    assert asked == ["receiver.example"]
    assert receiving.received[0].headers["Host"] == f"receiver.example:{receiving.port}"


@pytest.fixture
def secured(receiving: Receiving) -> list[str | None]:
    """The same receiver behind TLS; what name was asked for is kept."""
    names: list[str | None] = []
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(CERTIFICATE)
    context.sni_callback = lambda wire, name, context: names.append(name)
    server = receiving._server
    server.socket = context.wrap_socket(server.socket, server_side=True)
    return names


def trusting() -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(CERTIFICATE))


def test_the_certificate_is_held_to_the_name(
    receiving: Receiving, secured: list[str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    looked_up = {"receiver.example": "127.0.0.1", "other.example": "127.0.0.1"}
    real = socket.getaddrinfo

    def look_up(host: str, *rest: Any, **options: Any) -> Any:
        return real(looked_up.get(host, host), *rest, **options)

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    right = read_address(f"https://receiver.example:{receiving.port}/", allowed=HOME)
    assert posted(right, context=trusting()) == 200
    assert secured == ["receiver.example"]
    wrong = read_address(f"https://other.example:{receiving.port}/", allowed=HOME)
    with pytest.raises(ssl.SSLCertVerificationError):
        posted(wrong, context=trusting())
    with pytest.raises(ssl.SSLCertVerificationError):
        posted(right)
    assert len(receiving.received) == 1


def test_whoever_drips_is_hung_up_on() -> None:
    """A byte every tenth of a second never runs into a timeout from byte to byte."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=_drip, args=[listener], daemon=True)
        thread.start()
        address = read_address(f"http://127.0.0.1:{listener.getsockname()[1]}/", allowed=HOME)
        began = time.monotonic()
        with pytest.raises((OSError, HTTPException)):
            posted(address, within_s=1)
        assert time.monotonic() - began < 30
        thread.join(5)


def _drip(listener: socket.socket) -> None:
    connection, _ = listener.accept()
    with connection:
        connection.recv(65536)
        connection.sendall(b"HTTP/1.1 200 OK\r\nX-Slow: ")
        try:
            while True:
                connection.sendall(b"a")
                time.sleep(0.1)
        except OSError:
            return


def test_nobody_there() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(OSError, match="refused"):
        posted(read_address(f"http://127.0.0.1:{port}/", allowed=HOME))
