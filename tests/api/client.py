"""A small client as an integrator would write one, and co-ops on a running server to use it in."""

import http.client
import itertools
import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from email.message import Message
from typing import Any
from urllib.parse import urlencode

from tests.running import Running

PASSWORD = "a bench, a kettle, a scale"
_numbers = itertools.count(1)


@dataclass(frozen=True)
class Answer:
    """What came back; `json` is the body read, `raw` as it was sent."""

    status: int
    headers: Message
    raw: bytes

    @property
    def kind(self) -> str:
        return str(self.headers.get("Content-Type", "")).split(";")[0]

    @property
    def json(self) -> Any:
        return json.loads(self.raw)

    def made(self) -> Any:
        """The body of a success."""
        assert self.status in (200, 201), f"{self.status} {self.raw.decode()}"
        return self.json

    def refused(self, status: int, code: str, pointer: str | None = None) -> dict[str, Any]:
        """The first error of a problem of this status and code, whose shape is checked."""
        assert self.status == status, f"{self.status} {self.raw.decode()[:2000]}"
        assert self.kind == "application/problem+json", self.headers
        problem = self.json
        assert {"type", "title", "status", "detail", "errors"} <= set(problem), problem
        assert problem["status"] == status
        error: dict[str, Any] = problem["errors"][0]
        assert problem["type"] == f"/api/v1/problems/{error['code']}"
        assert error["code"] == code, problem
        assert len(error["detail"]) > 10, "a refusal says what to do"
        assert problem["detail"]
        if pointer is not None:
            assert error["pointer"] == pointer, problem
        return error


@dataclass
class Client:
    """Somebody who is signed in, or (without a token) nobody."""

    port: int
    token: str = ""
    maker: str = ""
    maker_name: str = ""
    _connection: http.client.HTTPConnection | None = field(default=None, repr=False)

    def another(self, **changes: str) -> "Client":
        """The same person on a connection of its own, for another thread or with other headers."""
        kept = {"token": self.token, "maker": self.maker, "maker_name": self.maker_name} | changes
        return Client(self.port, kept["token"], kept["maker"], kept["maker_name"])

    def raw(
        self, method: str, path: str, body: bytes | None = None, headers: Mapping[str, str] = {}
    ) -> Answer:
        """One request exactly as given, but for the token."""
        sent = {"Authorization": f"Bearer {self.token}"} if self.token else {}
        if self.maker:
            sent["Maker"] = self.maker
        if body is not None:
            sent["Content-Type"] = "application/json"
        sent |= headers
        target = path if path.startswith("/") else f"/api/v1/{path}"
        given = {name: value for name, value in sent.items() if value}
        if self._connection is not None:
            try:
                return self._exchange(self._connection, method, target, body, given)
            except (ConnectionError, http.client.RemoteDisconnected):
                # The server closes a connection that was idle; a client opens another.
                pass
        self._connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        return self._exchange(self._connection, method, target, body, given)

    def _exchange(
        self,
        wire: http.client.HTTPConnection,
        method: str,
        target: str,
        body: bytes | None,
        headers: Mapping[str, str],
    ) -> Answer:
        try:
            wire.request(method, target, body, headers)
            response = wire.getresponse()
            return Answer(response.status, response.headers, response.read())
        except (OSError, http.client.HTTPException):
            wire.close()
            self._connection = None
            raise

    def get(self, path: str, **query: Any) -> Answer:
        """Read."""
        return self.raw("GET", f"{path}?{urlencode(query)}" if query else path)

    def post(self, path: str, body: Any, key: str | None = None, **headers: str) -> Answer:
        """Write, with a key of its own unless one is given."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        named["Idempotency-Key"] = str(uuid.uuid4()) if key is None else key
        return self.raw("POST", path, json.dumps(body).encode(), named)

    def upload(
        self,
        path: str,
        file: bytes | None,
        key: str | None = None,
        *,
        name: str = "certificate.pdf",
        said: str = "application/pdf",
        cookies: str = "",
        **texts: str,
    ) -> Answer:
        """Send a form with a file and some texts, as a browser does."""
        boundary = uuid.uuid4().hex
        parts = [(f'name="{field}"', text.encode()) for field, text in texts.items()]
        if file is not None:
            parts.append((f'name="file"; filename="{name}"\r\nContent-Type: {said}', file))
        body = b"".join(
            f"--{boundary}\r\nContent-Disposition: form-data; {head}\r\n\r\n".encode()
            + content
            + b"\r\n"
            for head, content in parts
        )
        headers = {"Idempotency-Key": str(uuid.uuid4()) if key is None else key}
        headers |= {"Content-Type": f"multipart/form-data; boundary={boundary}", "Cookie": cookies}
        return self.raw("POST", path, body + f"--{boundary}--\r\n".encode(), headers)

    def change(self, method: str, path: str, body: Any, etag: str = "") -> Answer:
        """PUT or PATCH what was read with this ETag."""
        return self.raw(method, path, json.dumps(body).encode(), {"If-Match": etag})

    def listed(self, path: str, **query: Any) -> list[dict[str, Any]]:
        """All rows of a list, page by page."""
        rows: list[dict[str, Any]] = []
        query = {"limit": 200, **query}
        while True:
            page = self.get(path, **query).made()
            rows += page["results"]
            if not page.get("next"):
                return rows
            query["cursor"] = page["next"]

    # What most stories need.

    def material(self, name: str, *, density: str = "", **facts: Any) -> str:
        """A material of the catalogue, by mass unless said otherwise."""
        facts = {"name": name, "measured_by": "mass", **facts}
        if density:
            facts["density"] = {"value": density}
        return str(self.post("materials", facts).made()["id"])

    def supplier(self) -> str:
        """A new supplier, to whom orders can be mailed."""
        number = next(_numbers)
        facts = {"name": f"Supplier {number}", "mail": f"orders{number}@example.org"}
        return str(self.post("suppliers", facts).made()["id"])

    def receive(
        self,
        material: str,
        quantity: str,
        price: str,
        *,
        release: bool = True,
        happened_at: str = "2025-05-01T09:00:00Z",
        **line: Any,
    ) -> str:
        """One lot from a new supplier, released on a certificate; its id."""
        line = {
            "material": material,
            "supplier_lot": f"S{next(_numbers)}",
            "quantity": quantity,
            "price": price,
            **line,
        }
        body: dict[str, Any] = {
            "supplier": self.supplier(),
            "happened_at": happened_at,
            "lines": [line],
        }
        if release:
            body["release"] = {"basis": "certificate seen"}
        return str(self.post("receipts", body).made()["lines"][0]["lot"]["id"])

    def stock(self, material: str) -> dict[str, Any]:
        """The stock of one material."""
        (row,) = self.get("stock", material=material).made()["results"]
        return dict(row)


def sign_in(server: Running, username: str, password: str = PASSWORD, **more: str) -> Answer:
    """Ask for a token."""
    body = json.dumps({"username": username, "password": password, **more}).encode()
    return Client(server.port).raw("POST", "tokens", body)


@dataclass(frozen=True)
class Coop:
    """A co-op on a running server: its slug, its people's user names, and its makers' owners."""

    server: Running
    slug: str
    coordinator: str
    owners: dict[str, str]
    makers: dict[str, Client]

    def __getitem__(self, maker: str) -> Client:
        return self.makers[maker]


def open_coop(server: Running, *makers: str, name: str = "Harbour Makers") -> Coop:
    """Open a co-op with makers, each with an owner who has signed in."""
    number = next(_numbers)
    coordinator = f"coordinator-{number}-{uuid.uuid4().hex[:8]}"
    slug = _managed(
        server,
        *("open_coop", "--name", f"{name} {number}", "--currency", "USD", "--time-zone", "UTC"),
        *("--coordinator", coordinator),
    )
    owners = {maker: f"owner-{next(_numbers)}-{uuid.uuid4().hex[:8]}" for maker in makers}
    clients = {}
    for maker, owner in owners.items():
        _managed(server, "open_maker", "--coop", slug, "--name", maker, "--owner", owner)
        token = sign_in(server, owner).made()
        (own,) = token["makers"]
        clients[maker] = Client(server.port, token["token"], maker_name=own["name"])
    return Coop(server, slug, coordinator, owners, clients)


def _managed(server: Running, *words: str) -> str:
    done = server.command(*words, "--password-env", "MAKER_PASSWORD", MAKER_PASSWORD=PASSWORD)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip().splitlines()[-1]
