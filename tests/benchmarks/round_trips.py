"""How often a program and PostgreSQL speak in turn: a relay between them that counts."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PORT_IN_NAME = ".s.PGSQL.5432"


class Relay:
    """Passes on what both sides say; a round trip begins when the program speaks again."""

    def __init__(self, real: Path, ours: Path) -> None:
        self.real, self.count = real, 0
        self._listener = socket.socket(socket.AF_UNIX)
        self._listener.bind(str(ours / PORT_IN_NAME))
        self._listener.listen()
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                program, _ = self._listener.accept()
            except OSError:
                return
            server = socket.socket(socket.AF_UNIX)
            server.connect(str(self.real / PORT_IN_NAME))
            turn = {"program": False}
            for way in ((program, server, True), (server, program, False)):
                threading.Thread(target=self._pass_on, args=(*way, turn), daemon=True).start()

    def _pass_on(
        self, source: socket.socket, target: socket.socket, asks: bool, turn: dict[str, bool]
    ) -> None:
        while said := source.recv(1 << 16):
            if asks and not turn["program"]:
                self.count += 1
            turn["program"] = asks
            target.sendall(said)
        target.close()

    def close(self) -> None:
        """Take no more connections."""
        self._listener.close()


@contextmanager
def counted(real: Path, ours: Path) -> Iterator[Relay]:
    """Django's connection by way of a relay in `ours`; `real` is where the server listens."""
    from django.db import connection

    usual = connection.settings_dict["HOST"]
    connection.close()
    relay = Relay(real, ours)
    connection.settings_dict["HOST"] = str(ours)
    try:
        yield relay
    finally:
        connection.close()
        connection.settings_dict["HOST"] = usual
        relay.close()
