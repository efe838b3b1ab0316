"""Orders by mail and on paper: what the supplier gets, and that it gets it."""

import csv
import io
import time
from typing import Any

import pytest
from django.core import mail
from django.core.mail import EmailMessage

import api.tasks  # noqa: F401 - the worker's own: it names what mails an order
from api.order_mail import mail_order
from ledger import outbox
from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.models import PurchaseOrder, PurchaseOrderFact
from ledger.ordering import Changes, Ordered, correct_line, end_order, send_order, write_order
from ledger.quantities import parse_quantity
from tests.api.client import Client
from tests.api.test_orders import kinds, ordered
from tests.factories import D
from tests.ledger.bench import Bench, now, open_bench, work_off
from tests.sheets.reading import Pages


def an_order(bench: Bench, address: str, **columns: Any) -> PurchaseOrder:
    """Two packs of a material whose name begins like a formula of a sheet."""
    material = bench.material("=Kaolin", **columns)
    with acting_as(bench.actor):
        seller = add_supplier(
            bench.actor, name="Clays\nby the sack", contact_name="the yard", mail=address
        )
        line = Ordered(str(material.id), parse_quantity("12.5 kg"), D("30.50"), packs=2)
        return write_order(bench.actor, supplier=seller.id, lines=[line], happened_at=now())


def sent(bench: Bench, order: PurchaseOrder, note: str = "") -> PurchaseOrderFact:
    with acting_as(bench.actor):
        return send_order(bench.actor, order=order.id, happened_at=now(), note=note)


def to(address: str) -> list[EmailMessage]:
    return [message for message in mail.outbox if address in message.to]


def attached(message: EmailMessage) -> dict[str, bytes]:
    """What is attached, by media type."""
    found: dict[str, bytes] = {}
    for part in message.message().walk():
        if part.get_filename():
            content = part.get_payload(decode=True)
            assert isinstance(content, bytes)
            found[part.get_content_type()] = content
    return found


def rows_of(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))


@pytest.mark.usefixtures("database")
def test_the_supplier_gets_the_order_as_pdf_and_csv() -> None:
    work_off()
    bench = open_bench()
    order = an_order(bench, "clays@example.org", inci_name="Kaolin")
    fact = sent(bench, order, "Please ring first.")
    assert to("clays@example.org") == [], "nothing goes out before the commit"
    work_off()
    (message,) = to("clays@example.org")
    assert message.subject == f"Order {order.number} of North Bench"
    assert message.message()["Message-ID"] == f"<{fact.id}@stillroom>"
    assert message.reply_to == [bench.email]
    assert "Clays by the sack" in message.body
    assert "Please ring first." in message.body
    parts = attached(message)
    read = Pages(parts["application/pdf"]).text
    for words in (order.number, "=Kaolin (Kaolin)", "12.5 kg", "25 kg", "30.50"):
        assert words in read, words
    (row,) = rows_of(parts["text/csv"])
    assert row["material"] == "'=Kaolin", "no program reckons it out"
    assert (row["packs"], row["pack"], row["quantity"]) == ("2", "12.5 kg", "25000")
    assert (row["price"], row["currency"], row["unit"]) == ("30.50", "USD", "g")
    with acting_as(bench.actor):
        told = list(order.facts.order_by("id").values_list("kind", "address"))
    assert told == [("sending", "clays@example.org"), ("sent", "clays@example.org")]


@pytest.mark.usefixtures("database")
def test_what_is_sent_is_the_order_as_it_was_when_it_was_asked_for() -> None:
    work_off()
    bench = open_bench()
    order = an_order(bench, "clays2@example.org")
    first = sent(bench, order)
    with acting_as(bench.actor):
        (line,) = order.lines.all()
        changes = Changes(packs=1, price=D("15.25"))
        correct_line(
            bench.actor,
            order=order.id,
            line=line.id,
            changes=changes,
            reason="one is enough",
            happened_at=now(),
        )
    second = sent(bench, order)
    with acting_as(bench.actor):
        end_order(bench.actor, order=order.id, reason="out of it", happened_at=now())
    third = sent(bench, order)
    work_off()
    messages = {one.message()["Message-ID"]: one for one in to("clays2@example.org")}
    found = []
    for fact in (first, second, third):
        (row,) = rows_of(attached(messages[f"<{fact.id}@stillroom>"])["text/csv"])
        found.append((row["packs"], row["price"], row["wanted"]))
    assert found == [("2", "30.50", "yes"), ("1", "15.25", "yes"), ("1", "15.25", "no")]


@pytest.mark.usefixtures("database")
def test_a_mail_that_went_out_twice_was_sent_once() -> None:
    """The worker died between the sending and the mark: the claim runs out, and it is done anew."""
    work_off()
    bench = open_bench()
    order = an_order(bench, "clays3@example.org")
    fact = sent(bench, order)
    claimed = outbox.claim()
    assert claimed is not None
    assert claimed.subject == fact.id
    for _ in range(2):
        mail_order(claimed, now())
    messages = to("clays3@example.org")
    assert [one.message()["Message-ID"] for one in messages] == [f"<{fact.id}@stillroom>"] * 2
    contents = [attached(one)["text/csv"] for one in messages]
    assert contents[0] == contents[1]
    with acting_as(bench.actor):
        assert order.facts.filter(kind="sent").count() == 1


def test_a_supplier_without_an_address_is_asked_for_one(north: Client) -> None:
    supplier = north.post("suppliers", {"name": "Clays from the market"}).made()
    clay = north.material("Clay from the market")
    line = {"material": clay, "pack": "1 kg", "price": "5.00"}
    order = ordered(north, line, supplier=supplier["id"])
    path = f"orders/{order['id']}"
    error = north.post(f"{path}/sendings", {}).refused(409, "conflict")
    assert "mail address" in error["detail"]
    for wrong in ("clays", "clays@", "clays@example.org\nBcc: all@example.org", "ä@example.org"):
        change = {"mail": wrong}
        answer = north.change("PATCH", f"suppliers/{supplier['id']}", change, "*")
        answer.refused(422, "invalid", "/mail")
    address = {"mail": "market@example.org", "contact_name": "the stall"}
    changed = north.change("PATCH", f"suppliers/{supplier['id']}", address, "*").made()
    assert (changed["mail"], changed["name"]) == ("market@example.org", "Clays from the market")
    told = north.post(f"{path}/sendings", {"note": "please ring"}).made()
    assert kinds(told)[:2] == ["written", "sending"]
    end = time.monotonic() + 90
    while "sent" not in kinds(told):
        assert time.monotonic() < end, "the worker has not mailed it"
        time.sleep(0.2)
        told = north.get(path).made()
    assert told["facts"][-1]["address"] == "market@example.org"


def test_an_order_is_printed(north: Client) -> None:
    clay = north.material("Clay on paper", inci_name="Kaolin")
    line = {"material": clay, "packs": 3, "pack": "1 kg", "price": "5.00"}
    order = ordered(north, {**line, "expected_on": "2025-05-06"}, note="<b>ring</b>")
    path = f"orders/{order['id']}/sheet"
    page = north.get(path)
    assert (page.status, page.kind) == (200, "text/html")
    html = page.raw.decode()
    assert "&lt;b&gt;ring&lt;/b&gt;" in html
    for words in (order["number"], "Clay on paper (Kaolin)", "3 kg", "5.00", "6 May 2025"):
        assert words in html, words
    printed = north.get(path, format="pdf", paper="letter")
    assert order["number"] in Pages(printed.raw).text
    given = north.get(path, format="csv")
    assert given.kind == "text/csv"
    assert f"order-{order['number']}.csv" in given.headers["Content-Disposition"]
    (row,) = rows_of(given.raw)
    assert (row["order"], row["quantity"], row["expected_on"]) == (
        order["number"],
        "3000",
        "2025-05-06",
    )
