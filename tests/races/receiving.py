"""A program that receives messages of alerts, and keeps each with its headers."""

import http.server
import threading
import time
from dataclasses import dataclass
from email.message import Message
from types import TracebackType

PATIENCE_S = 30


@dataclass(frozen=True)
class Received:
    """One request as it came in, and what it was answered."""

    path: str
    headers: Message
    body: str
    at: float

    @property
    def id(self) -> str:
        return str(self.headers["webhook-id"])


class Receiving:
    """Answers `status` to whatever comes, or what of `answers` is next.

    The first request after `hang` is kept, and never answered.
    """

    def __init__(self, status: int = 200) -> None:
        self.status = status
        self.answers: list[int] = []
        self.received: list[Received] = []
        self.hang = False
        self.hanging = threading.Event()
        self.closing = threading.Event()
        receiving = self

        class Request(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                receiving._take(self)

            def log_message(self, format: str, *args: object) -> None:
                """Nothing: the test tells what came."""

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Request)
        self._server.daemon_threads = True
        self.port = self._server.server_address[1]
        self.url = f"http://127.0.0.1:{self.port}/alerts"
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)

    def __enter__(self) -> "Receiving":
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.closing.set()
        self._server.shutdown()
        self._server.server_close()

    def ids(self) -> list[str]:
        """The ids of what was received, in its order."""
        return [one.id for one in self.received]

    def _take(self, request: http.server.BaseHTTPRequestHandler) -> None:
        body = request.rfile.read(int(request.headers["Content-Length"])).decode()
        status = self.answers.pop(0) if self.answers else self.status
        self.received.append(Received(request.path, request.headers, body, time.monotonic()))
        if self.hang:
            self.hang = False
            self.hanging.set()
            self.closing.wait(PATIENCE_S)
            return
        request.send_response(status)
        if 300 <= status < 400:
            request.send_header("Location", f"{self.url}/elsewhere")
        request.send_header("Content-Length", "0")
        request.end_headers()
