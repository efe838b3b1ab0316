"""How often a program and PostgreSQL speak in turn: a relay between them that counts."""

import json
import socket
import tempfile
import threading
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.benchmarks.bench import Stock
from tests.running import Running

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


def of_posts(
    server: Running, stock: Stock, posts: Iterable[tuple[str, dict[str, Any]]]
) -> list[int]:
    """How many round trips each of these requests takes, one after the other on one connection.

    They are answered in this process, with the server's database.
    """
    from django.test import Client

    from deploy.embedded import socket_dir

    web, found = Client(), []
    with (
        tempfile.TemporaryDirectory() as ours,
        counted(socket_dir(server.data, "pg"), Path(ours)) as relay,
    ):
        for path, body in posts:
            before = relay.count
            answer = web.post(
                path,
                json.dumps(body),
                content_type="application/json",
                headers={
                    "Authorization": f"Bearer {stock.client.token}",
                    "Idempotency-Key": str(uuid.uuid4()),
                    "Host": "127.0.0.1",
                },
            )
            if answer.status_code != 201:
                raise RuntimeError(answer.content.decode())
            found.append(relay.count - before)
    return found
