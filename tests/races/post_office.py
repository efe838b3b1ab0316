"""A mail server that can be made to hang at a chosen moment, and keeps what it was given."""

import socketserver
import threading
import time
from email import message_from_bytes
from email.message import Message
from types import TracebackType


class PostOffice:
    """Speaks as much SMTP as a client needs (RFC 5321), and keeps when it took each message.

    The next conversation about a message for the address of `hang` stops for good at its moment:
    "asked", before it was said that the message would be taken, or "taken", when the message is
    ours but the client has not been told.
    """

    def __init__(self) -> None:
        self.messages: list[Message] = []
        self.taken_at: list[float] = []
        self.hanging = threading.Event()
        self._hang_at: tuple[str, str] | None = None
        self._closing = threading.Event()
        office = self

        class Conversation(socketserver.StreamRequestHandler):
            def handle(self) -> None:
                office._serve(self)

        class Listener(socketserver.ThreadingTCPServer):
            daemon_threads = True

        self._listener = Listener(("127.0.0.1", 0), Conversation)
        self.url = f"smtp://127.0.0.1:{self._listener.server_address[1]}"
        self._thread = threading.Thread(target=self._listener.serve_forever, daemon=True)

    def __enter__(self) -> "PostOffice":
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._closing.set()
        self._listener.shutdown()
        self._listener.server_close()

    def hang(self, moment: str, address: str) -> None:
        """Stop the next conversation about a message for this address at that moment."""
        self._hang_at = (moment, address)

    def to(self, address: str) -> list[Message]:
        """The messages for one person."""
        return [message for message in self.messages if address in message["To"]]

    def _serve(self, wire: socketserver.StreamRequestHandler) -> None:
        self._say(wire, "220 post office")
        while line := wire.rfile.readline():
            word = line[:4].upper().strip()
            if word == b"RCPT":
                self._hang("asked", line.decode())
            if word == b"DATA":
                self._say(wire, "354 go on")
                self.messages.append(message_from_bytes(self._text(wire)))
                self.taken_at.append(time.monotonic())
                self._hang("taken", self.messages[-1]["To"])
            self._say(wire, "221 bye" if word == b"QUIT" else "250 ok")

    def _text(self, wire: socketserver.StreamRequestHandler) -> bytes:
        lines = []
        while (line := wire.rfile.readline()) not in (b".\r\n", b""):
            lines.append(line.removeprefix(b".") if line.startswith(b"..") else line)
        return b"".join(lines)

    def _hang(self, moment: str, told: str) -> None:
        if self._hang_at and self._hang_at[0] == moment and self._hang_at[1] in told:
            self._hang_at = None
            self.hanging.set()
            self._closing.wait()

    def _say(self, wire: socketserver.StreamRequestHandler, words: str) -> None:
        wire.wfile.write(words.encode() + b"\r\n")
