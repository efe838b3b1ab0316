"""HTTP itself: bodies that cannot be read, methods that are not there, headers that protect."""

import http.client
import json
import socket
import time
import uuid
from typing import Any
from urllib.parse import quote

import psycopg
import pytest

from deploy import embedded
from ledger import outbox
from tests.api.client import Answer, Client, Coop
from tests.api.people import coop_id, maker_id, sql
from tests.running import Running

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}

# An id that nothing has.
NOBODY = "00000000-0000-4000-8000-000000000000"


def send(client: Client, body: bytes, **headers: str) -> Answer:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.raw("POST", "suppliers", body, {"Idempotency-Key": str(uuid.uuid4())} | named)


def nested(depth: int) -> bytes:
    return b'{"name": ' + b"[" * depth + b"]" * depth + b"}"


@pytest.mark.parametrize(
    "body",
    [
        b"{",
        b"{} {}",
        b'{"name": "a",}',
        b"{'name': 'a'}",
        b'{"name": "a", "name": "b"}',
        b'{"name": NaN}',
        b'{"name": Infinity}',
        b'{"name": -Infinity}',
        b'{"name": 1e309}',
        b'{"name": -1e400}',
        b'{"name": ' + b"9" * 5000 + b"}",
        b'{"name": 99999999999999999999}',
        b'{"name": "a\\u0000b"}',
        b'{"na\\u0000me": "a"}',
        b'{"name": "\\ud800"}',
        b'{"name": "\xff\xfe"}',
        b"\xff\xfe{\x00}\x00",
        b"\x00",
        nested(30),
        nested(100_000),
        b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
    ],
)
def test_a_body_that_cannot_be_read(north: Client, body: bytes) -> None:
    error = send(north, body).refused(400, "malformed")
    assert error["pointer"] == ""


@pytest.mark.parametrize("body", [b"", b"null", b"[]", b'"name"', b"5", b"true", b"{}"])
def test_a_body_that_is_not_what_was_asked_for(north: Client, body: bytes) -> None:
    answer = send(north, body)
    assert answer.status == 422
    assert answer.kind == "application/problem+json"
    assert answer.json["errors"]


@pytest.mark.parametrize(
    ("body", "pointer", "told"),
    [
        ([1], "", "Send an object: names with their values in braces"),
        ({"lines": [{"lot": "x", "quantity": "1 g"}, "2 g"]}, "/lines/1", "Send an object"),
        ({"lines": {"lot": "x", "quantity": "1 g"}}, "/lines", "Send a list: objects in brackets"),
    ],
)
def test_what_is_of_another_shape_is_told_in_words_of_json(
    north: Client, body: Any, pointer: str, told: str
) -> None:
    whole = {"customer": "stall", **body} if isinstance(body, dict) else body
    answer = north.post("sales", whole)
    assert answer.status == 422
    (said,) = [one["detail"] for one in answer.json["errors"] if one["pointer"] == pointer]
    assert said.startswith(told)


def test_a_body_that_is_too_large(north: Client) -> None:
    send(north, b'{"name": "' + b"x" * 10_000_000 + b'"}').refused(413, "too_large")
    send(north, b'{"name": "' + b"x" * 999_000 + b'"}').refused(422, "max_length", "/name")
    send(north, b'{"name": "' + b"x" * 1_001_000 + b'"}').refused(413, "too_large")


def test_a_length_that_is_a_lie(server: Running, north: Client) -> None:
    """More is announced than comes: the server does not wait for ever, nor fall."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as line:
        line.sendall(
            b"POST /api/v1/suppliers HTTP/1.1\r\nHost: localhost\r\n"
            b"Authorization: Bearer " + north.token.encode() + b"\r\nIdempotency-Key: lie\r\n"
            b'Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{"name": '
        )
    assert north.get("suppliers", limit=1).status == 200


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"]
)
def test_a_body_of_another_kind(north: Client, kind: str) -> None:
    send(north, b'{"name": "a"}', Content_Type=kind).refused(415, "unsupported_media_type")
    north.raw("PUT", f"watches/{uuid.uuid4()}", b"a=b", {"Content-Type": kind}).refused(
        415, "unsupported_media_type"
    )


def test_only_json_is_sent(north: Client) -> None:
    north.raw("GET", "lots", None, {"Accept": "text/html"}).refused(406, "not_acceptable")
    assert north.raw("GET", "lots", None, {"Accept": "*/*"}).kind == "application/json"
    browser = "text/html,application/xhtml+xml,*/*;q=0.8"
    assert north.raw("GET", "lots", None, {"Accept": browser}).kind == "application/json"


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("DELETE", "lots"),
        ("PUT", "materials"),
        ("PATCH", "batches"),
        ("PUT", "tokens"),
        ("GET", "issues"),
        ("POST", "stock"),
        ("DELETE", f"entries/{NOBODY}"),
        ("TRACE", "lots"),
        ("PROPFIND", "lots"),
    ],
)
def test_a_method_that_is_not_there(north: Client, method: str, path: str) -> None:
    body = b"{}" if method in {"POST", "PUT", "PATCH"} else None
    answer = north.raw(method, path, body)
    answer.refused(405, "method_not_allowed")
    assert method not in answer.headers["Allow"]


def test_head_is_get_without_its_body(north: Client) -> None:
    head, get = (north.raw(method, "materials") for method in ("HEAD", "GET"))
    assert (head.status, head.raw, head.kind) == (200, b"", get.kind)
    missing = north.raw("HEAD", f"lots/{uuid.uuid4()}")
    assert (missing.status, missing.raw) == (404, b"")
    nobody = Client(north.port).raw("HEAD", "materials")
    assert (nobody.status, nobody.raw) == (401, b"")


def test_options_tell_the_methods_and_nothing_else(north: Client) -> None:
    answer = north.raw("OPTIONS", "lots")
    assert (answer.status, answer.raw) == (204, b"")
    assert set(answer.headers["Allow"].split(", ")) == {"GET", "HEAD", "OPTIONS"}
    assert "Access-Control-Allow-Origin" not in answer.headers, "no other site may use a token"


@pytest.mark.parametrize(
    "path",
    [
        "/nothing",
        "/api",
        "/api/v1",
        "/api/v1/",
        "/api/v1/lot",
        "/api/v1/lots/",
        "/api/v2/lots",
    ],
)
def test_an_address_that_is_not_there(north: Client, path: str) -> None:
    north.raw("GET", path).refused(404, "not_found")


@pytest.mark.parametrize("id", ["x", "..", "%00", "%2e%2e", "0", "a" * 300, "é", "' or 1=1 --"])
def test_an_id_that_is_none(north: Client, id: str) -> None:
    answer = north.get(f"lots/{quote(id, safe='%')}")
    answer.refused(404, "not_found")
    missing = north.get(f"lots/{uuid.uuid4()}")
    assert answer.json == missing.json, "the same words for all that is not there"


@pytest.mark.parametrize(
    "path",
    [
        "lots?colour=amber",
        "stock?materials=x",
        "materials?limit=5&colour=amber",
        f"receipts/{NOBODY}?explain=1",
    ],
)
def test_a_parameter_that_is_not_known(north: Client, path: str) -> None:
    north.get(path).refused(422, "unknown_field")


@pytest.mark.parametrize(
    ("path", "pointer"),
    [
        ("lots?limit=0", "/limit"),
        ("lots?limit=201", "/limit"),
        ("lots?limit=x", "/limit"),
        ("lots?limit=99999999999999999999", "/limit"),
        ("lots?material=x", "/material"),
        ("lots?status=gone", "/status"),
        ("lots?expires_before=soon", "/expires_before"),
        ("lots?code=%00", "/code"),
        ("materials?name=%00", "/name"),
        ("entries?kind=theft", "/kind"),
        ("receipts?supplier=x", "/supplier"),
        ("alerts?state=ajar", "/state"),
        ("batches?planned_from=2025-13-01", "/planned_from"),
    ],
)
def test_a_parameter_that_is_wrong(north: Client, path: str, pointer: str) -> None:
    answer = north.get(path)
    error = answer.json["errors"][0]
    answer.refused(422, error["code"], pointer)


def test_headers_protect(server: Running, north: Client) -> None:
    answers = [
        north.get("lots"),
        north.get(f"lots/{uuid.uuid4()}"),
        north.get("schema"),
        north.raw("GET", "/healthz"),
        north.raw("GET", "/nothing"),
    ]
    for answer in answers:
        told = {name: answer.headers[name] for name in HEADERS}
        assert told == HEADERS
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        assert "Set-Cookie" not in answer.headers
    # Somebody's stock must not lie in a cache that others share.
    assert "no-store" in answers[0].headers["Cache-Control"]


def test_another_host_is_not_answered(server: Running) -> None:
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    line.request("GET", "/api/v1/lots", headers={"Host": "evil.example"})
    answer = line.getresponse()
    assert answer.status == 400
    assert json.loads(answer.read())["errors"][0]["code"] == "malformed"
    line.close()


def test_alive_and_ready(north: Client) -> None:
    nobody = Client(north.port)
    alive = nobody.raw("GET", "/healthz")
    assert (alive.status, alive.raw) == (200, b"ok\n")
    # The worker's first sign of life may take some seconds.
    end = time.monotonic() + 90
    while (ready := nobody.raw("GET", "/readyz")).status == 503 and time.monotonic() < end:
        time.sleep(0.2)
    assert ready.status == 200, ready.raw
    checks = {"database": "ok", "broker": "ok", "worker": "ok"}
    assert ready.json == {"ready": True, "checks": checks, "parked": 0}


def test_parked_work_is_counted_and_can_be_released(server: Running, coop: Coop) -> None:
    nobody = Client(server.port)
    for attempts in (outbox.MOST_ATTEMPTS, outbox.MOST_ATTEMPTS - 1):
        sql(
            server,
            "insert into ledger_outbox (coop_id, maker_id, id, task, subject, attempts, due_at)"
            " values (%s, %s, %s, 'check_watch', %s, %s, now() + interval '1 day')",
            *(coop_id(coop), maker_id(coop, "North Bench"), uuid.uuid4(), uuid.uuid4(), attempts),
        )
    told = nobody.raw("GET", "/readyz")
    assert (told.status, told.json["parked"]) == (200, 1)
    done = server.command("release_parked")
    assert (done.returncode, done.stdout) == (0, "1 released\n")
    assert nobody.raw("GET", "/readyz").json["parked"] == 0


def test_whoever_waits_too_long_is_told_to_come_again(server: Running, north: Client) -> None:
    """Another's lock on the table is waited for so long and no longer."""
    with psycopg.connect(embedded.postgres_url(server.data, "postgres")) as other:
        other.execute("lock table ledger_supplier in access exclusive mode")
        began = time.monotonic()
        answer = north.get("suppliers")
        assert 5 < time.monotonic() - began < 60
    answer.refused(503, "busy")
    assert answer.headers["Retry-After"] == "2"
    assert north.get("suppliers").status == 200


def test_a_problem_leads_to_its_explanation(north: Client) -> None:
    nobody = Client(north.port)
    problem = north.get(f"lots/{uuid.uuid4()}").json
    told = nobody.raw("GET", problem["type"])
    assert told.status == 200
    assert told.json["code"] == "not_found"
    for code in (
        "density_missing",
        "unit_ambiguous",
        "not_enough",
        "percent_not_100",
        "stale",
        "unknown_field",
        "unavailable",
        "busy",
    ):
        told = nobody.raw("GET", f"/api/v1/problems/{code}")
        assert told.json["code"] == code
        assert "{" not in told.json["detail"], "no blank is left to fill in"
