"""Lists that are sent: tried, by a worker where they are long, looked at, and taken in once."""

import io
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from api import long_lists
from api.list_kinds import KINDS
from api.models import SentList
from formulas.models import Formula
from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.models import Lot, Membership, Offer, OfferPrice, Outbox
from ledger.outbox import Work
from ledger.progress import Progress
from tests.api.sheet_files import csv_text, xlsx
from tests.factories import Workshop, open_workshop
from tests.ledger.bench import work_off
from tests.pages.browsing import done, in_role, refused, sent, shown, signed_in
from tests.pages.looking import looked_at
from tests.pages.test_rounds import for_the_co_op

MOST_QUERIES, MOST_BYTES = 15, 60_000
PRICES = ("supplier", "material", "pack", "price", "valid_from")
LOTS = ("material", "quantity", "value", "supplier_lot")
FORMULAS = ("formula", "phase", "ingredient", "percent")


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    shop = open_workshop()
    for name in ("Almond oil", "Beeswax"):
        shop.material(name)
    shop.does(add_supplier, name="Oils by the drum")
    return shop


@pytest.fixture(autouse=True)
def few_are_many(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lists of more than ten rows go to a worker, so that they need not be long here."""
    for name, kind in KINDS.items():
        monkeypatch.setitem(KINDS, name, replace(kind, most_at_once=10, most=1_000))


def try_it(client: Client, kind: str, content: bytes, name: str = "list.csv") -> Any:
    """A list that was sent to its page."""
    return sent(client, f"/import/{kind}", do="look", file=SimpleUploadedFile(name, content))


def long_one(client: Client, kind: str, content: bytes, name: str = "list.csv") -> str:
    """The page of a long list that was sent."""
    answer = try_it(client, kind, content, name)
    assert answer.status_code == 303, shown(answer)
    assert re.fullmatch(r"/sent-lists/[0-9a-f-]{36}", answer["Location"])
    return str(answer["Location"])


def row_of(shop: Workshop, page: str) -> SentList:
    return shop.does(lambda _: SentList.objects.get(id=row_id(page)))


def row_id(page: str) -> str:
    return page.rpartition("/")[2]


def some_prices(many: int) -> list[tuple[Any, ...]]:
    return [("Oils by the drum", "almond oil", f"{n} kg", n, "2026-01-31") for n in range(1, many)]


def test_a_long_workbook_of_prices_is_tried_looked_at_and_taken_in(shop: Workshop) -> None:
    client = signed_in(shop)
    book = xlsx(PRICES, *some_prices(22))
    page = long_one(client, "prices", book, "prices of spring.xlsx")
    assert long_one(client, "prices", book) == page, "the same file waits already"
    waits = client.get(page).content.decode()
    assert "It waits for its turn" in waits
    assert f'hx-get="{page}" hx-trigger="every' in waits
    assert '<noscript><meta http-equiv="refresh"' in waits
    assert "Look again" in waits
    progress = Progress(row_of(shop, page).id)
    progress.telling("looked", 8000)
    progress.again = 0
    progress.telling("looked", 8000)(2400)
    assert "0 of 8,000 rows looked at" in shown(client.get(page))
    assert "prices of spring.xlsx" in shown(client.get("/import"))
    work_off()
    assert client.get(page, headers={"HX-Request": "true"})["HX-Refresh"] == "true"
    tried = looked_at(client, page)
    assert "new prices: 21" in re.sub(r"<[^>]+>", "", tried.text)
    assert (tried.queries <= MOST_QUERIES, tried.size <= MOST_BYTES) == (True, True)
    assert "http-equiv" not in tried.text
    assert shop.does(lambda _: Offer.objects.count()) == 0, "only tried"
    assert bytes(row_of(shop, page).content or b"") == book
    for _ in range(2):
        assert "It is being taken in" in done(client, page, do="take")
    work_off()
    work_off()
    assert "All of it is taken in. Rows in the list: 21" in shown(client.get(page))
    assert shop.does(lambda _: (Offer.objects.count(), OfferPrice.objects.count())) == (21, 21)
    assert row_of(shop, page).content is None
    assert "is being taken in" not in done(client, page, do="take"), "and not once more"
    assert "taken in" in shown(client.get("/import"))
    assert done(client, page, do="drop").count("prices of spring.xlsx") == 0
    assert client.get(page).status_code == 404


def test_what_is_wrong_with_a_long_list_stands_in_its_cells(shop: Workshop) -> None:
    """Of each formula the last row names nothing that there is, and of one the percent is none."""
    client = signed_in(shop)
    rows = [
        line
        for n in range(130)
        for line in (
            (f"Rub {n}", "A", "Almond oil", "50"),
            (f"Rub {n}", "A", "Beeswax", "40" if n else "much"),
            (f"Rub {n}", "B", "Nothing of the kind" if n else "Beeswax", "10"),
        )
    ]
    page = long_one(client, "formulas", csv_text(FORMULAS, *rows))
    work_off()
    seen = looked_at(client, page)
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", seen.text))
    assert "Cells that are wrong: 130. The first of them stand here: 100" in words
    assert "3 percent D3 much" in words
    assert "7 ingredient C7 Nothing of the kind Nothing is called" in words
    assert seen.text.count("<tr>") == 101
    assert (seen.queries <= MOST_QUERIES, seen.size <= MOST_BYTES) == (True, True)
    table = client.get(f"{page}?as=csv").content.decode()
    assert "3,D3,percent,much" in table
    assert row_of(shop, page).content is None, "it has to be sent anew"
    assert "cannot be taken in" in shown(sent(client, page, do="take"))
    assert shop.does(lambda _: Formula.objects.count()) == 0


def test_a_long_list_of_formulas_may_hold_what_is_there_already(shop: Workshop) -> None:
    client, many = signed_in(shop), 8
    rows = [
        line
        for n in range(many)
        for line in (
            (f"Balm {n}", "A", "Almond oil", "balance"),
            (f"Balm {n}", "A", "Beeswax", "20"),
            (f"Balm {n}", "B", f"Balm {n - 1}" if n % 5 == 1 else "Almond oil", "5"),
        )
    ]
    content = csv_text(FORMULAS, *rows)
    for _ in range(2):
        page = long_one(client, "formulas", content)
        work_off()
        if "There already" in shown(client.get(page)):
            assert "Some of it is there already" in refused(client, page, do="take")
            done(client, page, do="take", sure="on")
        else:
            done(client, page, do="take")
        work_off()
        assert "All of it is taken in" in shown(client.get(page))
    assert shop.does(lambda _: Formula.objects.filter(name__startswith="Balm").count()) == 2 * many


def lots(name: str, many: int = 11) -> bytes:
    return csv_text(LOTS, *[("Almond oil", "1 kg", "5.00", f"{name}-{n}") for n in range(many)])


def test_what_is_there_since_the_list_was_tried_can_be_said_to_be_meant(shop: Workshop) -> None:
    """Two lists with the same lot, both tried before either is taken in."""
    client, lot = signed_in(shop), ("Almond oil", "2 kg", "9.00", "Y-12")
    lists = [csv_text(LOTS, lot), csv_text(LOTS, lot, ("Beeswax", "1 kg", "4.00", "Y-13"))]
    first, second = (
        try_it(client, "lots", content, f"{at}.csv")["Location"] for at, content in enumerate(lists)
    )
    assert "These are others" not in shown(client.get(second))
    assert "All of it is taken in" in done(client, first, do="take")
    answer = sent(client, second, do="take")
    assert answer.status_code == 422
    assert "Some of it is there already" in shown(answer)
    assert 'type="checkbox" name="sure"' in answer.content.decode()
    assert "All of it is taken in" in done(client, second, do="take", sure="on")


def test_what_was_found_in_a_list_is_read_where_it_is_shown(shop: Workshop) -> None:
    """It may be long, and so may the list of all lists."""
    client = signed_in(shop)
    page = try_it(client, "lots", csv_text(LOTS, ("Beeswax", "1 kg", "4.00", "Y-14")))["Location"]
    read = {}
    for path in ("/import", page):
        with CaptureQueriesContext(connection) as queries:
            assert "list.csv" in shown(client.get(path))
        read[path] = any('"api_sentlist"."found"' in str(one["sql"]) for one in queries)
    assert read == {"/import": False, page: True}


def test_whoever_sent_a_list_alone_sees_it(shop: Workshop) -> None:
    client, page = signed_in(shop), long_one(signed_in(shop), "lots", lots("own"))
    other = in_role(shop, Membership.Role.OWNER)
    assert other.get(page).status_code == 404
    assert sent(other, page, do="drop").status_code in (404, 422)
    assert "list.csv" not in shown(other.get("/import"))
    assert try_it(in_role(shop, Membership.Role.READ_ONLY), "lots", lots("read")).status_code == 403
    done(client, page, do="drop")
    work_off()
    owed = shop.does(lambda _: Outbox.objects.filter(task=long_lists.TRY, done_at=None).count())
    assert owed == 0, "what is dropped is not worked on"


def test_a_worker_goes_by_the_role_that_the_sender_has_by_then(shop: Workshop) -> None:
    client = in_role(shop, Membership.Role.BENCH)
    page = long_one(client, "lots", lots("role"))
    row = row_of(shop, page)
    with acting_as(shop.actor):
        Membership.objects.filter(person_id=row.person_id).update(role="read-only")
    work_off()
    told = shown(client.get(page))
    assert "Nothing of it is kept. The role 'read-only' may not" in told
    assert row_of(shop, page).content is None
    with acting_as(shop.actor):
        Membership.objects.filter(person_id=row.person_id).delete()
    assert shop.does(lambda _: Lot.objects.filter(supplier_lot__startswith="role").count()) == 0


def test_what_does_not_come_to_an_end_is_given_up(shop: Workshop) -> None:
    client = signed_in(shop)
    page = long_one(client, "lots", lots("given up"))
    row = row_of(shop, page)
    with acting_as(shop.actor):
        owed = Outbox.objects.get(subject=row.id)
        SentList.objects.filter(id=row.id).update(asked_at="2026-01-01T00:00:00Z")
    assert "It stands still just now" in shown(client.get(page))
    work = Work(owed.coop_id, owed.maker_id, owed.id, owed.task, row.id, long_lists.MOST_TRIES + 1)
    long_lists.try_list(work, datetime.now(UTC))
    told = shown(client.get(page))
    assert "Nothing of it is kept. It was begun several times" in told
    assert shop.does(lambda _: Outbox.objects.get(id=owed.id).done_at) is not None


def test_a_file_that_is_wrong_further_down_says_so(shop: Workshop) -> None:
    client = signed_in(shop)
    broken = lots("broken") + b'\r\n"Almond oil,1 kg'
    page = long_one(client, "lots", broken)
    work_off()
    assert "Nothing of it is kept. The CSV cannot be read" in shown(client.get(page))
    endless = csv_text(LOTS, *[("Almond oil", "1 kg", "1", f"e{n}") for n in range(1_001)])
    page = long_one(client, "lots", endless)
    work_off()
    assert "A list has at most 1000 rows" in shown(client.get(page))


def test_a_list_is_forgotten_after_seven_days(shop: Workshop) -> None:
    client = signed_in(shop)
    old, young = (long_one(client, "lots", lots(name)) for name in ("old", "young"))
    before = datetime.now(UTC) - timedelta(days=7, minutes=1)
    shop.does(lambda _: SentList.objects.filter(id=row_id(old)).update(sent_at=before))
    long_lists.forget()
    assert [client.get(page).status_code for page in (old, young)] == [404, 200]
    work_off()


def test_the_coordinator_brings_in_prices_for_all(shop: Workshop) -> None:
    client = for_the_co_op(shop)
    page = long_one(
        client,
        "prices",
        csv_text(PRICES, *[[str(cell) for cell in row] for row in some_prices(13)]),
    )
    assert signed_in(shop).get(page).status_code == 404
    work_off()
    assert "new prices: 12" in shown(client.get(page))
    done(client, page, do="take")
    work_off()
    assert "All of it is taken in" in shown(client.get(page))
    opened = shop.does(lambda _: Offer.objects.filter(maker=None).count())
    assert opened == 12


@pytest.mark.parametrize(
    ("kind", "good", "wrong", "told"),
    [
        ("prices", some_prices(3), (4, 3, "5 oz"), 'C4 5 oz "oz" may mean'),
        (
            "lots",
            [("Almond oil", "2 kg", 40, "X-1"), ("Beeswax", "1 kg", 9.5, "X-2")],
            (3, 1, "Tallow"),
            "A3 Tallow There is no material of this name",
        ),
        (
            "formulas",
            [("Salve", "A", "Almond oil", 80), ("Salve", "A", "Beeswax", 20)],
            (3, 4, "=10+10"),
            "D3 =10+10 A formula stands in this cell",
        ),
    ],
)
def test_a_workbook_is_tried_and_kept_on_its_page(
    shop: Workshop, kind: str, good: list[Any], wrong: tuple[int, int, str], told: str
) -> None:
    client = signed_in(shop)
    header = {"prices": PRICES, "lots": LOTS, "formulas": FORMULAS}[kind]
    bad = xlsx(header, *good, *([good[0]] if kind == "prices" else []))
    row, column, value = wrong
    page = shown_after(client, try_it(client, kind, changed(bad, row, column, value), "list.xlsx"))
    assert told in page
    assert "Take these in" not in page
    answer = try_it(client, kind, xlsx(header, *good), "list.xlsx")
    assert "All rows can be read" in shown_after(client, answer)
    here = str(answer["Location"])
    assert f"Rows in the list: {len(good)}" in done(client, here, do="take", sure="on")


def shown_after(client: Client, answer: Any) -> str:
    """The words of the page to which an answer leads."""
    assert answer.status_code == 303, shown(answer)
    return shown(client.get(answer["Location"]))


def changed(content: bytes, row: int, column: int, value: str) -> bytes:
    """A workbook with another value in one of its cells."""
    book = openpyxl.load_workbook(io.BytesIO(content))
    sheet: Any = book.active
    sheet.cell(row, column, value)
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()
