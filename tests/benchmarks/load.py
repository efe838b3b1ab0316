"""A lean HTTP client: a few connections that are kept, each with one request under way."""

import multiprocessing
import selectors
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass

from tests.benchmarks.report import percentile

Requests = Callable[[], bytes]
_END_OF_HEAD = b"\r\n\r\n"
_fork = multiprocessing.get_context("fork")


@dataclass(frozen=True)
class Load:
    """How many requests were answered in a second, and how long they took."""

    per_second: float
    median_ms: float
    p99_ms: float


def request(method: str, path: str, token: str, body: bytes = b"", **headers: str) -> bytes:
    """The bytes of one request."""
    lines = [f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", f"Authorization: Bearer {token}"]
    lines += [f"{name.replace('_', '-')}: {value}" for name, value in headers.items()]
    if body:
        lines += ["Content-Type: application/json", f"Content-Length: {len(body)}"]
    return "\r\n".join(lines).encode() + _END_OF_HEAD + body


def drive(port: int, next_request: Requests, *, connections: int, seconds: float) -> Load:
    """Keep the connections busy for so long, from a process of its own.

    Raises RuntimeError with the answer when one is not a success.
    """
    receiver, sender = _fork.Pipe(duplex=False)
    worker = _fork.Process(target=_work, args=(sender, port, next_request, connections, seconds))
    worker.start()
    found = receiver.recv()
    worker.join()
    if isinstance(found, str):
        raise RuntimeError(found)
    took_ms = [1000 * took for took in found]
    return Load(len(took_ms) / seconds, percentile(took_ms, 50), percentile(took_ms, 99))


def _work(
    sender: "multiprocessing.connection.Connection",
    port: int,
    next_request: Requests,
    connections: int,
    seconds: float,
) -> None:
    try:
        sender.send(_times(port, next_request, connections, seconds))
    except Exception as error:
        sender.send(f"{type(error).__name__}: {error}")


@dataclass
class _Wire:
    """One connection, when its request was sent, and what has come back of the answer."""

    socket: socket.socket
    sent: float = 0.0
    came: bytes = b""

    def send(self, message: bytes) -> None:
        self.came, self.sent = b"", time.perf_counter()
        self.socket.sendall(message)

    def whole(self) -> bool:
        """Read what is there; whether that completes the answer."""
        self.came += self.socket.recv(1 << 20)
        head, found, body = self.came.partition(_END_OF_HEAD)
        if not found:
            return False
        length = int(head.lower().partition(b"content-length:")[2].split(b"\r\n", 1)[0])
        if len(body) < length:
            return False
        if not head.startswith((b"HTTP/1.1 200", b"HTTP/1.1 201")):
            raise RuntimeError(self.came.decode(errors="replace")[:2000])
        return True


def _times(port: int, next_request: Requests, connections: int, seconds: float) -> list[float]:
    """How long each request took, in seconds."""
    times: list[float] = []
    with selectors.DefaultSelector() as ready:
        for _ in range(connections):
            wire = _Wire(socket.create_connection(("127.0.0.1", port), timeout=60))
            wire.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            ready.register(wire.socket, selectors.EVENT_READ, wire)
            wire.send(next_request())
        end = time.perf_counter() + seconds
        while time.perf_counter() < end:
            for key, _ in ready.select(1):
                if key.data.whole():
                    times.append(time.perf_counter() - key.data.sent)
                    key.data.send(next_request())
        for key in list(ready.get_map().values()):
            key.data.socket.close()
    return times
