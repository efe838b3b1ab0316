"""Every figure that is worked out opens to its working, and what opens comes to the figure."""

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from api.pages import workings
from formulas.weighing import weigh
from ledger.access import acting_as
from ledger.alerts import set_watch
from ledger.billing import Wanted, book_bill
from ledger.catalogue import add_supplier
from ledger.costing import ChargeKind
from ledger.issuing import Taken, issue, sell
from ledger.models import Bill, Material, Membership, ReceiptLine
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_quantity
from tests.factories import MORNING, D, Workshop, open_workshop
from tests.pages.browsing import in_role, shown, signed_in
from tests.pages.figures import (
    LEAST,
    ROUGHLY,
    amount_in,
    figures_of,
    opened,
    workings_of,
)
from tests.pages.looking import SOON, looked_at
from tests.pages.opening import tells
from tests.pages.shops import planned_ahead, work

DAYS = "first=2025-01-01&last=2025-12-31"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def ids(shop: Workshop) -> dict[str, str]:
    """Two of everything; the ids of the second."""
    planned_ahead(shop, 0)
    work(shop, 0)
    return work(shop, 1)


def needed_for_weeks(shop: Workshop) -> Material:
    """What is needed twice, lies here, expires between the two, and is on order."""
    today = datetime.now(UTC).date()

    def after(days: int) -> date:
        return today + timedelta(days=days)

    water = shop.material("Rosa Damascena Flower Water")
    shop.receive(water, "2 kg", "20.00", expires_on=after(15))
    version = shop.formula("Toner", [(water, "100")])
    shop.plan(version, "1 kg", planned_for=after(10))
    shop.plan(version, "3 kg", planned_for=after(30))
    supplier = shop.does(add_supplier, name="Waters")
    line = Ordered(str(water.id), parse_quantity("500 g"), D(5), expected_on=after(8))
    shop.does(write_order, supplier=supplier.id, lines=[line], happened_at=MORNING)
    return water


@pytest.mark.parametrize(
    "path", ["/books", *(f"/books/{one}?{DAYS}" for one in ("usage", "sold", "variances"))]
)
def test_every_figure_of_the_books_opens_and_adds_up(
    shop: Workshop, ids: dict[str, str], path: str
) -> None:
    client = signed_in(shop)
    page = looked_at(client, path)
    figures = list(figures_of(page.text))
    assert [one for one in figures if not one.to] == []
    assert len([one for one in figures if one.text.endswith("USD")]) >= 3
    for one in figures:
        told = opened(client, one.to)
        near = next(rough for unit, rough in ROUGHLY.items() if one.text.endswith(unit))
        assert abs(told.exact - amount_in(one.text)) < near, one
        assert told.adds_up, one


def test_every_figure_of_the_weeks_opens_and_adds_up(shop: Workshop, ids: dict[str, str]) -> None:
    client, material = signed_in(shop), needed_for_weeks(shop)
    kinds = set()
    for path in ["/order", f"/order?material={material.id}"]:
        for one in figures_of(looked_at(client, path).text):
            assert one.to, f"{path}: {one}"
            told = opened(client, one.to)
            assert abs(told.exact - amount_in(one.text)) <= LEAST, one
            assert told.adds_up, one
            kinds.add(re.sub(r".*figure=(\w+).*|.*", r"\1", one.to))
    assert kinds == {"", "needed", "coming", "expiring", "short", "left", "order", "to_order"}
    # 2 kg and the 500 g that come, less 4 kg that are needed, and then up to the 6 kg again.
    about = {"material": material.id, "reorder_point": parse_quantity("6 kg")}
    shop.does(set_watch, **about)
    page = looked_at(client, f"/order?material={material.id}").text
    lifts = {"counted_on": -1_500, "position": -1_500, "lift": 7_501}
    for figure, grams in lifts.items():
        told = opened(client, f"/materials/{material.id}/need?figure={figure}")
        assert told.adds_up
        assert told.exact == grams
    assert "figure=lift" in page
    assert "figure=position" in page


# What a material's page says of its stock.
SHELF = {"On the shelf", "May be used today", "Promised to batches", "To count on", "Worth"}
# What somebody typed or weighed stands for itself.
TYPED = {
    "Came out",
    "By whom",
    "Nominal",
    "Bulk that went in",
    "Left in the filler",
    "Rejected",
    "Samples",
}


def assert_opened(client: Client, path: str, units: str) -> None:
    """Each figure in these units opens, and its working has the figure in it."""
    page = looked_at(client, path).text
    figures = [one for one in figures_of(page) if one.text.endswith(tuple(units.split()))]
    figures = [one for one in figures if one.label.partition(" was ")[0] not in TYPED]
    assert figures
    for one in figures:
        assert one.to, f"{path}: {one}"
        assert tells(client, one, page), f"{path}: {one}"


LADDER = "channels=1&channels-0-name=Shop&channels-0-way=margin_percent&channels-0-figure=60"


@pytest.mark.parametrize(
    ("kind", "rest", "units"),
    [
        ("fills", "", "USD kg g %"),
        ("batches", "", "USD % kg g"),
        ("lots", "", "USD"),
        ("products", f"/price?{LADDER}&channels-0-tax_percent=20&cost_from=present", "USD g %"),
    ],
)
def test_every_figure_of_a_thing_opens(
    shop: Workshop, ids: dict[str, str], kind: str, rest: str, units: str
) -> None:
    assert_opened(signed_in(shop), f"/{kind}/{ids[kind]}{rest}", units)


def test_every_quantity_of_a_material_opens(shop: Workshop) -> None:
    """What is promised to batches is what each of them was promised, and nothing it lacks; on the
    shelf is also what may not be used."""
    shop = open_workshop("Wax Bench", coop=shop.coop)
    wax = shop.material("Candelilla")
    shop.receive(wax, "1 kg", "20.00")
    shop.receive(wax, "200 g", "4.00", release=None)
    version = shop.formula("Hard balm", [(wax, "100")])
    for size in ("300 g", "900 g"):
        shop.plan(version, size)
    client = signed_in(shop)
    figures = figures_of(looked_at(client, f"/materials/{wax.id}").text)
    told = {one.label: opened(client, one.to) for one in figures if one.label in SHELF and one.to}
    assert set(told) == SHELF
    promised = told["Promised to batches"]
    assert [one.exact for one in promised.parts] == [300, 700]
    assert promised.exact == 1000
    shelf = told["On the shelf"]
    assert ([one.exact for one in shelf.parts], shelf.exact) == ([D(1000), D(200)], D(1200))
    assert all(one.adds_up for one in told.values())


def test_what_a_batch_wants_opens_to_its_percent_and_what_was_weighed_to_its_lots(
    shop: Workshop,
) -> None:
    oil, wax = shop.material("Jojoba"), shop.material("Rice wax")
    first, second = (shop.receive(oil, size, "5.00") for size in ("60 g", "100 g"))
    shop.receive(wax, "1 kg", "30.00")
    planned = shop.plan(shop.formula("Serum", [(oil, "33.3"), (wax, "66.7")]), "333 g")
    line = planned.lines[0].line.id
    for lot, grams in ((first, "60 g"), (second, "50.89 g")):
        about = {"line": line, "lot": lot.id, "quantity": parse_quantity(grams)}
        shop.does(weigh, batch=planned.batch.id, **about, happened_at=MORNING)
    client = signed_in(shop)
    page = looked_at(client, f"/batches/{planned.batch.id}").text
    told = [opened(client, one.to) for one in figures_of(page) if "/share" in one.to]
    assert [(one.name, one.exact, [part.exact for part in one.parts]) for one in told] == [
        ("Wanted of Jojoba", D("110.89"), [D("110.889"), D("0.001")]),
        ("Weighed of Jojoba", D("110.89"), [D(60), D("50.89")]),
        ("Wanted of Rice wax", D("222.11"), [D("222.111"), D("-0.001")]),
        ("Wanted", D(333), [D("110.89"), D("222.11")]),
        ("Weighed in", D("110.89"), [D("110.89"), D(0)]),
    ]
    whole = opened(client, f"/batches/{planned.batch.id}/share")
    assert [one.exact for one in whole.parts] == [D("110.89"), D("222.11")]
    assert whole.adds_up
    assert (
        client.get(f"/batches/{planned.batch.id}/share?line={planned.batch.id}").status_code == 404
    )


def heading_of(client: Client, path: str) -> str:
    (heading,) = re.findall("<h1>(.*?)</h1>", looked_at(client, path).text)
    return re.sub("<[^>]+>", "", heading)


def test_a_working_that_stands_alone_says_what_it_is_of(
    shop: Workshop, ids: dict[str, str]
) -> None:
    client, seen = signed_in(shop), set()
    for kind, rest in (("batches", ""), ("lots", ""), ("lots", "/trace"), ("materials", "")):
        path = f"/{kind}/{ids[kind]}"
        name = heading_of(client, path).split()[0]
        for one in figures_of(looked_at(client, path + rest).text):
            if one.to.startswith(f"{path}/"):
                assert name in heading_of(client, one.to), one
                seen.add(one.to.removeprefix(path).partition("?")[0])
    assert seen >= {"/share", "/yield", "/whereabouts", "/worth", "/need"}


def test_a_word_that_may_be_new_is_told_once_beneath_its_working(
    shop: Workshop, ids: dict[str, str]
) -> None:
    client = signed_in(shop)
    working = client.get(f"/batches/{ids['batches']}/working").content.decode()
    assert len(re.findall("<strong>landed cost</strong>", working, re.IGNORECASE)) > 1
    assert working.count("Landed cost: what goods cost") == 1
    assert "Marc: " not in working
    assert "Landed cost: " not in shown(client.get(f"/batches/{ids['batches']}/share"))


def test_where_a_lot_is_opens_to_its_entries_and_adds_up(
    shop: Workshop, ids: dict[str, str]
) -> None:
    """A delivery of which some was weighed in, some came back, and some was sold and lost."""
    oil = shop.material("Camellia")
    lot = shop.receive(oil, "1 kg", "40.00")
    planned = shop.plan(shop.formula("Camellia balm", [(oil, "100")]), "500 g")
    shop.weigh_all(planned)
    shop.finish(planned, "490 g")
    taken, about = [Taken(lot.id, parse_quantity("100 g"))], {"happened_at": MORNING}
    shop.does(sell, lines=taken, customer="Stall", **about)
    shop.does(issue, lines=taken, purpose="gift", reason="for a fair", **about)
    with acting_as(shop.actor):
        receipt = ReceiptLine.objects.get(lot=lot).receipt_id
    late = Wanted(Bill.Kind.LATE_CHARGE, D(28), charge_kind=ChargeKind.FREIGHT)
    shop.does(book_bill, receipt=receipt, bill=late, **about)
    client = signed_in(shop)
    for path in (f"/lots/{lot.id}", f"/lots/{ids['lots']}"):
        figures = list(figures_of(looked_at(client, f"{path}/trace").text))
        told = {one.label: opened(client, one.to) for one in figures}
        assert len(told) == len(figures) > 2
        for one in figures:
            assert abs(told[one.label].exact - amount_in(one.text)) < LEAST, one
            assert told[one.label].adds_up, one
            assert all(part.exact for part in told[one.label].parts) or "accounted" in one.label
    whole = opened(client, f"/lots/{lot.id}/whereabouts")
    came, *places = [one.exact for one in whole.parts]
    assert sorted(places) == [-500, -300, -100, -100]
    assert came == -sum(places)
    assert whole.exact == 0


def test_what_makers_owe_each_other_opens(shop: Workshop, ids: dict[str, str]) -> None:
    assert_opened(signed_in(shop), "/settlement/statement?month=2025-05", "USD")


PLANNED = ["In all, with freight", "Line by line", "One material at a time", "Saved"]


def test_what_a_plan_of_orders_costs_opens_and_adds_up(shop: Workshop, ids: dict[str, str]) -> None:
    client, path = signed_in(shop), f"/order/plan?{SOON}"
    assert_opened(client, path, "USD")
    told = workings_of(looked_at(client, path).text)
    assert [one.name for one in told] == PLANNED
    assert all(one.adds_up for one in told)


def test_money_opens_to_nobody_who_may_not_see_it(shop: Workshop, ids: dict[str, str]) -> None:
    """On a page, in place or as a file."""
    lot, batch, oil = (ids[kind] for kind in ("lots", "batches", "materials"))
    paths = [
        *(f"/books/{one}?{DAYS}" for one in ("worth", "gone", "expensed", "compared")),
        f"/lots/{lot}/worth",
        f"/batches/{batch}/standard",
        f"/materials/{oil}/gone?{DAYS}",
        "/settlement/worked-out?month=2025-05",
    ]
    owner, bench = signed_in(shop), in_role(shop, Membership.Role.BENCH)
    for path in paths:
        assert owner.get(path).status_code == 200, path
        for asked in ("", f"{'&' if '?' in path else '?'}as=csv"):
            refused = bench.get(path + asked)
            assert (refused.status_code, b"USD" in refused.content) == (403, False), path


def test_the_file_of_a_working_has_the_lines_that_its_page_leaves_out(
    shop: Workshop, ids: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workings, "MOST_LINES", 1)
    client = signed_in(shop)
    for path in ("/settlement/worked-out?month=2025-05", f"/books/worth?{DAYS}"):
        assert ", in the file" in shown(client.get(path)), path
        assert ", in the file" not in client.get(f"{path}&as=csv").content.decode(), path


def test_what_no_account_is_called_is_no_fault(shop: Workshop) -> None:
    client, asked = signed_in(shop), "kind=%00&name=%00x"
    assert client.get(f"/books/expensed?{asked}&{DAYS}").status_code in {200, 404}
    assert client.get("/at-shops?shop=%00").status_code == 404
