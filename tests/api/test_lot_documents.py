"""Certificates and other files of a lot: kept as they came, and seen by whoever has the lot."""

import hashlib
import uuid
from typing import Any

import psycopg
import pytest

from deploy import embedded
from tests.api.client import Answer, Client, Coop, open_coop
from tests.api.files import jpeg, pdf, png, webp
from tests.api.people import maker_id, member, sql
from tests.running import Running

LARGEST = 5 * 1024 * 1024


@pytest.fixture(scope="module")
def pair(server: Running) -> Coop:
    return open_coop(server, "Giving Bench", "Taking Bench", "Third Bench")


@pytest.fixture(scope="module")
def lot(north: Client) -> str:
    return north.receive(north.material("Glycerin"), "5 kg", "40.00", release=False)


def attach(maker: Client, lot: str, file: bytes | None, kind: str = "coa", **more: str) -> Answer:
    return maker.upload(f"lots/{lot}/documents", file, kind=kind, **more)


def sized(size: int) -> bytes:
    """A PDF of so many bytes."""
    return pdf("x" * (size - len(pdf(""))))


def send(
    maker: Client, lot: str, body: bytes, kind: str = "multipart/form-data; boundary=b"
) -> Any:
    headers = {"Idempotency-Key": str(uuid.uuid4()), "Content-Type": kind}
    return maker.raw("POST", f"lots/{lot}/documents", body, headers)


def test_what_comes_back_is_what_was_sent(north: Client, lot: str) -> None:
    content = pdf("lot G-77")
    made = attach(north, lot, content, name="CoA “Öl” 77.pdf", note="as faxed").made()
    assert (made["lot"], made["kind"], made["note"]) == (lot, "coa", "as faxed")
    assert (made["name"], made["content_type"]) == ("CoA “Öl” 77.pdf", "application/pdf")
    assert (made["size"], made["sha256"]) == (len(content), hashlib.sha256(content).hexdigest())
    assert made["maker_name"] == north.maker_name
    assert made["person"]
    assert north.get(f"documents/{made['id']}").made() == made
    assert made in north.listed(f"lots/{lot}/documents")
    answer = north.get(f"documents/{made['id']}/file")
    assert (answer.status, answer.kind, answer.raw) == (200, "application/pdf", content)
    told = answer.headers
    assert told["Content-Disposition"] == (
        "attachment; filename*=utf-8''CoA%20%E2%80%9C%C3%96l%E2%80%9D%2077.pdf"
    )
    assert told["X-Content-Type-Options"] == "nosniff"
    assert told["Cache-Control"] == "private, no-cache"
    assert told["ETag"] == f'"{made["sha256"]}"'


def test_a_copy_that_is_known_is_not_sent_again(north: Client, lot: str) -> None:
    made = attach(north, lot, png("known"), "photo", name="drum.png", said="image/png").made()
    path, tag = f"documents/{made['id']}/file", f'"{made["sha256"]}"'
    for known in (tag, f'"another", {tag}', f"W/{tag}"):
        answer = north.raw("GET", path, None, {"If-None-Match": known})
        assert (answer.status, answer.raw, answer.headers["ETag"]) == (304, b"", tag)
    answer = north.raw("GET", path, None, {"If-None-Match": '"another"'})
    assert (answer.status, answer.raw) == (200, png("known"))
    assert answer.headers["Content-Disposition"] == 'attachment; filename="drum.png"'


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (pdf("kept"), "application/pdf"),
        (png("kept"), "image/png"),
        (jpeg("kept"), "image/jpeg"),
        (webp("kept"), "image/webp"),
    ],
)
def test_every_type_that_is_kept(north: Client, lot: str, content: bytes, said: str) -> None:
    made = attach(north, lot, content, "other", name="scan", said="application/octet-stream").made()
    assert made["content_type"] == said
    answer = north.get(f"documents/{made['id']}/file")
    assert (answer.kind, answer.raw) == (said, content)


@pytest.mark.parametrize(
    ("content", "name", "said", "code"),
    [
        (b"<html><script>", "a.pdf", "application/pdf", "file_type_unknown"),
        (b"MZ\x90", "a.exe", "application/octet-stream", "file_type_unknown"),
        (png(), "a.pdf", "application/pdf", "file_mislabelled"),
        (png(), "a.pdf", "application/octet-stream", "file_mislabelled"),
        (pdf(), "a.pdf", "text/html", "file_mislabelled"),
        (pdf() + b"PK\x03\x04", "a.pdf", "application/pdf", "file_damaged"),
        (png() + b"<script>", "a.png", "image/png", "file_damaged"),
        (jpeg() + b"PK\x03\x04", "a.jpg", "image/jpeg", "file_damaged"),
        (pdf()[:30], "a.pdf", "application/pdf", "file_damaged"),
        (b"", "a.pdf", "application/pdf", "file_empty"),
    ],
)
def test_what_is_not_as_it_says_is_refused(
    north: Client, lot: str, content: bytes, name: str, said: str, code: str
) -> None:
    before = north.get(f"lots/{lot}").made()["document_count"]
    attach(north, lot, content, name=name, said=said).refused(422, code)
    assert north.get(f"lots/{lot}").made()["document_count"] == before


def test_how_large_a_file_may_be(north: Client, lot: str) -> None:
    largest = sized(LARGEST)
    made = attach(north, lot, largest).made()
    assert made["size"] == LARGEST
    assert north.get(f"documents/{made['id']}/file").raw == largest
    error = attach(north, lot, sized(LARGEST + 1)).refused(413, "file_too_large")
    assert "5 MB" in error["detail"]
    attach(north, lot, sized(3 * LARGEST)).refused(413, "file_too_large")
    # What may be sent as JSON has not grown with it.
    north.post("suppliers", {"name": "x" * 1_000_000}).refused(413, "too_large")


def test_the_same_file_is_with_a_lot_once(north: Client, lot: str) -> None:
    made = attach(north, lot, pdf("once")).made()
    error = attach(north, lot, pdf("once"), "other").refused(409, "document_there")
    assert error["document"] == made["id"]
    other = north.receive(north.material("Another"), "1 kg", "1.00")
    assert attach(north, other, pdf("once")).made()["sha256"] == made["sha256"]


def test_a_retry_attaches_once(north: Client, lot: str) -> None:
    """The same key with the same file and words, though the form's boundary is another."""
    key, path = str(uuid.uuid4()), f"lots/{lot}/documents"
    first = north.upload(path, pdf("retried"), key, kind="coa")
    again = north.upload(path, pdf("retried"), key, kind="coa")
    assert again.made() == first.made()
    assert again.headers["Replayed"] == "true"
    for file, kind in ((pdf("another"), "coa"), (pdf("retried"), "other")):
        north.upload(path, file, key, kind=kind).refused(422, "key_reused")
    north.upload(path, pdf("no key"), "", kind="coa").refused(400, "key_missing")


def test_the_count_stands_with_the_lot(north: Client) -> None:
    lot = north.receive(north.material("Counted"), "1 kg", "1.00")
    assert north.get(f"lots/{lot}").made()["document_count"] == 0
    for word in ("one", "two"):
        attach(north, lot, pdf(word), "sds").made()
    assert north.get(f"lots/{lot}").made()["document_count"] == 2
    (listed,) = [row for row in north.listed("lots") if row["id"] == lot]
    assert listed["document_count"] == 2
    page = north.get(f"lots/{lot}/documents", limit=1).made()
    (second,) = north.get(f"lots/{lot}/documents", limit=1, cursor=page["next"]).made()["results"]
    assert second["sha256"] == hashlib.sha256(pdf("one")).hexdigest(), "the latest came first"


def test_a_form_is_read_strictly(north: Client, lot: str) -> None:
    attach(north, lot, None).refused(422, "required", "/file")
    north.upload(f"lots/{lot}/documents", pdf("a")).refused(422, "required", "/kind")
    attach(north, lot, pdf("a"), "invoice").refused(422, "invalid_choice", "/kind")
    attach(north, lot, pdf("a"), expires="2027").refused(422, "unknown_field", "/expires")
    attach(north, lot, pdf("a"), note="x" * 401).refused(422, "max_length", "/note")
    attach(north, lot, pdf("a"), note="a\0b").refused(400, "malformed")
    text = b'--b\r\nContent-Disposition: form-data; name="file"\r\n\r\nC:/a.pdf\r\n--b--'
    send(north, lot, text).refused(422, "not_a_file", "/file")
    for kind in ("application/json", "text/plain", "application/x-www-form-urlencoded"):
        send(north, lot, b"{}", kind).refused(415, "unsupported_media_type")
    send(north, lot, b"").refused(422, "required")


HEAD = b'Content-Disposition: form-data; name="kind"'


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"--b--", "multipart/form-data"),
        (b"--b--", 'multipart/form-data; boundary=""'),
        (b"--b--", "multipart/form-data; boundary=" + "b" * 71),
        (b"words", "multipart/form-data; boundary=b"),
        (b"before\r\n--b\r\n" + HEAD + b"\r\n\r\ncoa\r\n--b--", "multipart/form-data; boundary=b"),
        (b"--b\r\n" + HEAD + b"\r\n\r\ncoa", "multipart/form-data; boundary=b"),
        (b"--b\r\n" + HEAD + b"\r\n\r\ncoa\r\n--b", "multipart/form-data; boundary=b"),
        (b"--b\r\n" + HEAD + b"\r\n--b--", "multipart/form-data; boundary=b"),
        (b"--bc\r\n" + HEAD + b"\r\n\r\ncoa\r\n--b--", "multipart/form-data; boundary=b"),
        (b"--b\r\nA: b\r\n\r\ncoa\r\n--b--", "multipart/form-data; boundary=b"),
        (b"--b\r\n" + HEAD + b"\r\n\r\n\xff\r\n--b--", "multipart/form-data; boundary=b"),
        (
            b"--b\r\n" + HEAD + b"\r\nContent-Transfer-Encoding: base64\r\n\r\nY29h\r\n--b--",
            "multipart/form-data; boundary=b",
        ),
        (
            (b"--b\r\n" + HEAD + b"\r\n\r\ncoa\r\n") * 2 + b"--b--",
            "multipart/form-data; boundary=b",
        ),
        (
            (b"--b\r\n" + HEAD + b"\r\n\r\ncoa\r\n") * 30 + b"--b--",
            "multipart/form-data; boundary=b",
        ),
    ],
)
def test_a_form_that_cannot_be_read(north: Client, lot: str, body: bytes, kind: str) -> None:
    send(north, lot, body, kind).refused(400, "malformed")
    send(Client(north.port), lot, body, kind).refused(401, "not_signed_in")


def test_who_may_attach_and_who_may_read(coop: Coop, north: Client, lot: str) -> None:
    made = attach(north, lot, pdf("roles")).made()
    reader = member(coop, "North Bench", "read-only")
    attach(reader, lot, pdf("reader")).refused(403, "forbidden")
    assert reader.get(f"documents/{made['id']}/file").raw == pdf("roles")
    attach(member(coop, "North Bench", "books"), lot, pdf("books")).made()
    outside = member(coop, None, "coordinator")
    outside.get(f"documents/{made['id']}/file").refused(403, "forbidden")
    attach(Client(north.port), lot, pdf("nobody")).refused(401, "not_signed_in")


def test_it_goes_with_the_lot_and_nobody_else_sees_it(pair: Coop, mill: Client) -> None:
    giving, taking, third = (pair[f"{name} Bench"] for name in ("Giving", "Taking", "Third"))
    lot = giving.receive(giving.material("Squalane"), "3 kg", "90.00")
    made = attach(giving, lot, pdf("goes along"), note="from the drum").made()
    body = {"maker": str(maker_id(pair, "Taking Bench")), "lot": lot, "quantity": "1 kg"}
    offer = giving.post("transfers", body).made()
    paths = [f"documents/{made['id']}", f"documents/{made['id']}/file", f"lots/{lot}/documents"]
    for stranger in (taking, third, mill):
        for path in paths:
            stranger.get(path).refused(404, "not_found")
        attach(stranger, lot, pdf("theirs")).refused(404, "not_found")
    taking.post(f"transfers/{offer['id']}/acceptance", {}).made()
    assert taking.get(f"lots/{lot}").made()["document_count"] == 1
    seen = taking.get(paths[0]).made()
    assert (seen["maker_name"], seen["note"]) == (made["maker_name"], "from the drum")
    assert seen["person"] is None, "the people of another maker are its own"
    assert taking.get(paths[1]).raw == pdf("goes along")
    # And back: who had the lot hears of what is found out later.
    later = attach(taking, lot, png(), "photo", name="a.png", said="image/png").made()
    assert [row["id"] for row in giving.listed(paths[2])] == [later["id"], made["id"]]
    third.get(paths[1]).refused(404, "not_found")


def test_a_decision_names_what_it_rests_on(north: Client, lot: str) -> None:
    coa, sds = (attach(north, lot, pdf(f"basis {kind}"), kind).made() for kind in ("coa", "sds"))
    body = {"decision": "release", "basis": "certificate agrees", "documents": [coa["id"]]}
    path = f"lots/{lot}/decisions"
    north.post(path, body).refused(409, "certificate_alone", "/documents")
    assert north.get(f"lots/{lot}").made()["status"] == "quarantine"
    north.post(path, {**body, "documents": [sds["id"]]}).made()
    held = north.post(path, {**body, "decision": "hold"}).made()
    assert held["documents"] == [coa["id"]], "a certificate may well be the reason for a hold"
    material = north.get(f"lots/{lot}").made()["material"]
    limits = [{"name": "Water", "high": "0.5", "unit": "%"}]
    north.post(f"materials/{material}/specifications", {"limits": limits}).made()
    both = [coa["id"], sds["id"], coa["id"]]
    released = north.post(path, {**body, "documents": both}).made()
    assert (released["status"], released["documents"]) == ("released", both[:2])
    kept = north.listed(path)
    assert [row["documents"] for row in kept] == [both[:2], [coa["id"]], [sds["id"]]]


def test_a_certificate_needs_a_supplier_that_is_known(north: Client) -> None:
    """What was in store from the beginning came from nobody that is written down."""
    oil = north.material("Found in store")
    limits = [{"name": "Water", "high": "0.5", "unit": "%"}]
    north.post(f"materials/{oil}/specifications", {"limits": limits}).made()
    there = {"material": oil, "supplier_lot": "?", "quantity": "1 kg", "value": "5.00"}
    lot = north.post("opening-stock", there).made()["lines"][0]["lot"]
    coa = attach(north, lot, pdf("of nobody")).made()["id"]
    body = {"decision": "release", "basis": "certificate agrees", "documents": [coa]}
    north.post(f"lots/{lot}/decisions", body).refused(409, "certificate_alone")


def test_a_decision_rests_on_documents_of_its_own_lot(north: Client, lot: str) -> None:
    other = north.receive(north.material("Of another lot"), "1 kg", "1.00")
    theirs = attach(north, other, pdf("another lot")).made()["id"]
    body = {"decision": "hold", "basis": "smell", "documents": [theirs]}
    path = f"lots/{lot}/decisions"
    north.post(path, body).refused(422, "invalid", "/documents/0")
    body["documents"] = [str(uuid.uuid4())]
    north.post(path, body).refused(422, "not_found", "/documents/0")
    body["documents"] = ["no id"]
    north.post(path, body).refused(422, "not_found", "/documents/0")


def as_application(server: Running, coop: str, maker: str, statement: str, *values: Any) -> None:
    """One statement as the application itself may send it, inside a maker's walls."""
    with psycopg.connect(embedded.postgres_url(server.data, "stillroom")) as line:
        line.execute("select set_config('app.coop', %s, false)", [coop])
        line.execute("select set_config('app.maker', %s, false)", [maker])
        line.execute(statement, values)


ADDED = """
insert into ledger_document (coop_id, maker_id, id, lot_id, kind, note, name, content_type, size,
  sha256, content, person_id, recorded_at)
select coop_id, %s, uuidv7(), lot_id, kind, '', name, content_type, size + %s, sha256(%s), %s,
  person_id, now() from ledger_document where id = %s
"""
UNDER = """
insert into ledger_decisiondocument (coop_id, maker_id, id, decision_id, document_id)
select d.coop_id, %s, uuidv7(), %s, d.id from ledger_document d where d.id = %s
"""


def test_postgresql_refuses_what_the_verbs_would(north: Client, lot: str, server: Running) -> None:
    made = attach(north, lot, pdf("walled in")).made()
    own, id = made["maker"], made["id"]
    ((coop,),) = sql(server, "select coop_id::text from ledger_document where id = %s", id)

    def tried(statement: str, *values: Any) -> str:
        with pytest.raises(psycopg.Error) as refused:
            as_application(server, coop, own, statement, *values)
        return refused.value.diag.constraint_name or type(refused.value).__name__

    for statement in ("update ledger_document set note = ''", "delete from ledger_document"):
        assert tried(statement) == "InsufficientPrivilege"
    same, other, page = pdf("walled in"), pdf("walled on"), b"<html>" + b" " * len(pdf("walled"))
    assert tried(ADDED, own, 0, same, same, id) == "document_once_per_lot"
    assert tried(ADDED, own, 0, other, same, id) == "document_is_its_digest"
    assert tried(ADDED, own, 1, other, other, id) == "document_is_its_digest"
    assert tried(ADDED, own, len(page) - made["size"], page, page, id) == (
        "document_begins_as_its_type"
    )
    assert tried(ADDED, str(uuid.uuid4()), 0, other, other, id) == "InsufficientPrivilege"
    elsewhere = north.receive(north.material("Elsewhere"), "1 kg", "1.00")
    held = north.post(f"lots/{elsewhere}/decisions", {"decision": "hold", "basis": "smell"}).made()
    assert tried(UNDER, own, held["id"], id) == "decision_rests_on_own_lot"
