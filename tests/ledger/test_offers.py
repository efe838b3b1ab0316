"""Offers as those who plan orders read them, and what the database refuses by itself."""

from dataclasses import replace
from datetime import timedelta
from uuid import UUID

import pytest
from django.db import DatabaseError, connection
from django.test.utils import CaptureQueriesContext

from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.errors import Forbidden
from ledger.models import Material, Offer, OfferBreak, OfferPrice, Supplier
from ledger.offer_prices import Freight, FreightKind, PackBreak
from ledger.offer_reading import OfferOn, offers_on
from ledger.offering import (
    BreakFacts,
    PriceFacts,
    TermsFacts,
    add_offer,
    reprice,
    set_supplier_terms,
    withdraw_offer,
)
from ledger.price_list_rows import ListRow
from ledger.price_lists import import_list
from ledger.quantities import parse_quantity
from tests.factories import TODAY, D, Workshop, open_workshop

pytestmark = pytest.mark.usefixtures("database")
LATER = TODAY + timedelta(days=30)


@pytest.fixture(scope="module")
def shop(database: object) -> Workshop:
    return open_workshop("North Bench")


def written(
    shop: Workshop, price: PriceFacts, *, pack: str = "1 kg", opened: bool = False
) -> tuple[Offer, Supplier, Material]:
    """An offer of a new supplier for a new material."""
    supplier, material = shop.does(add_supplier, name="Bulk oils"), shop.material("Oil")
    size = parse_quantity(pack)
    about = {"supplier": supplier.id, "material": material.id, "pack": size, "opened": opened}
    return shop.does(add_offer, price=price, **about), supplier, material


def on(shop: Workshop, material: Material, day: object = TODAY) -> list[OfferOn]:
    return shop.does(offers_on, day=day, materials=[material.id])


def test_what_can_be_bought_on_a_day(shop: Workshop) -> None:
    step = BreakFacts(parse_quantity("25 kg"), D("4.60"))
    first = PriceFacts(TODAY, D("5.20"), breaks=[step], least_packs=2, shelf_life_days=365)
    offer, supplier, material = written(shop, first)
    (found,) = on(shop, material)
    assert (found.offer, found.supplier, found.supplier_name) == (
        offer.id,
        supplier.id,
        "Bulk oils",
    )
    assert (found.pack, found.price, found.counted) == (D(1000), D("5.20"), False)
    assert found.breaks == (PackBreak(D(25_000), D("4.60")),)
    assert (found.least_packs, found.shelf_life_days, found.lead_time_days) == (2, 365, None)
    assert found.terms.freight == Freight(FreightKind.NONE)
    assert on(shop, material, TODAY - timedelta(days=1)) == []
    shop.does(reprice, offer=offer.id, price=PriceFacts(LATER, D("5.90"), lead_time_days=4))
    assert on(shop, material) == [found]
    (later,) = on(shop, material, LATER)
    assert (later.price, later.breaks, later.lead_time_days) == (D("5.90"), (), 4)
    shop.does(withdraw_offer, offer=offer.id, valid_from=LATER)
    assert on(shop, material, LATER) == []


def test_a_makers_own_terms_go_before_the_co_ops(shop: Workshop) -> None:
    _, supplier, material = written(shop, PriceFacts(TODAY, D(5)))
    common = TermsFacts(
        TODAY, freight_kind="flat", freight=D(28), free_from=D(200), lead_time_days=9
    )
    shop.does(set_supplier_terms, supplier=supplier.id, terms=common, opened=True)
    (found,) = on(shop, material)
    assert found.terms.freight == Freight(FreightKind.FLAT, D(28), D(200))
    assert found.lead_time_days == 9
    own = replace(common, valid_from=TODAY - timedelta(days=9), free_from=None, minimum=D(40))
    shop.does(set_supplier_terms, supplier=supplier.id, terms=own)
    (found,) = on(shop, material)
    assert (found.terms.freight.free_from, found.terms.minimum) == (None, D(40))


def test_many_offers_are_read_in_as_many_queries_as_few(shop: Workshop) -> None:
    def queries() -> int:
        with acting_as(shop.actor), CaptureQueriesContext(connection) as seen:
            offers_on(shop.actor, day=TODAY)
        return len(seen)

    written(shop, PriceFacts(TODAY, D(5)))
    few = queries()
    for _ in range(5):
        step = BreakFacts(parse_quantity("25 kg"), D("4.60"))
        written(shop, PriceFacts(TODAY, D("5.20"), breaks=[step]))
    assert queries() == few <= 5


def test_a_long_list_takes_as_many_queries_as_a_short_one(shop: Workshop) -> None:
    _, supplier, material = written(shop, PriceFacts(TODAY, D(5)))

    def queries(rows: int, code: str) -> int:
        about = {
            "article_code": code,
            "supplier": str(supplier.id),
            "material": str(material.id),
            "price": "5",
        }
        listed = [
            ListRow(n, {**about, "pack": f"{n} kg", "valid_from": "2025-06-01"})
            for n in range(2, rows + 2)
        ]
        with acting_as(shop.actor), CaptureQueriesContext(connection) as seen:
            assert len(import_list(shop.actor, listed).offers) == rows
        return len(seen)

    assert queries(2, "A") == queries(40, "B")


def test_the_bench_sees_no_offers(shop: Workshop) -> None:
    with pytest.raises(Forbidden):
        replace(shop, actor=replace(shop.actor, role="bench")).does(offers_on, day=TODAY)


def refused_by(shop: Workshop, sql: str, *values: UUID) -> str:
    """The constraint that refuses a statement of the application's own."""
    with (
        pytest.raises(DatabaseError) as refused,
        acting_as(shop.actor),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql, values)
    diagnosis = getattr(refused.value.__cause__, "diag", None)
    return str(getattr(diagnosis, "constraint_name", None) or refused.value)


def test_the_database_keeps_prices_as_they_were_written(shop: Workshop) -> None:
    offer, _, _ = written(shop, PriceFacts(TODAY, D("5.20")))
    for table in ("ledger_offer", "ledger_offerprice", "ledger_offerbreak", "ledger_supplierterms"):
        assert "permission denied" in refused_by(shop, f"update {table} set coop_id = coop_id")
        assert "permission denied" in refused_by(shop, f"delete from {table}")
    copied = (
        "insert into ledger_offerprice (coop_id, maker_id, id, offer_id, valid_from, price,"
        " currency, rate, own_price, least_packs, note, person_id, recorded_at)"
        " select coop_id, {maker}, uuidv7(), offer_id, valid_from, {price}, 'USD', 1, {own}, 1, '',"
        " person_id, recorded_at from ledger_offerprice where offer_id = %s"
    )
    same = {"maker": "maker_id", "price": "price", "own": "own_price"}
    for changes, constraint in (
        ({"price": "'NaN'", "own": "'NaN'"}, "offer_price_at_its_rate"),
        ({"price": "0", "own": "0"}, "offer_price_positive"),
        ({"own": "own_price + 0.01"}, "offer_price_at_its_rate"),
    ):
        assert refused_by(shop, copied.format(**{**same, **changes}), offer.id) == constraint
    # What hangs on a private offer is no more open than the offer.
    opened = refused_by(shop, copied.format(**{**same, "maker": "null"}), offer.id)
    assert "row-level security" in opened


@pytest.mark.parametrize(("quantity", "price"), [(1000, 5), (25_000, 6), (30_000, "5.20")])
def test_the_database_keeps_breaks_in_order(shop: Workshop, quantity: int, price: object) -> None:
    offer, _, _ = written(shop, PriceFacts(TODAY, D("5.20")))
    row = shop.does(lambda actor: OfferPrice.objects.get(offer_id=offer.id))
    bad = OfferBreak(
        coop_id=row.coop_id,
        maker_id=row.maker_id,
        offer_price=row,
        position=0,
        entered="x",
        quantity=D(quantity),
        price=D(str(price)),
        own_price=D(str(price)),
    )
    with pytest.raises(DatabaseError) as refused:
        shop.does(lambda actor: bad.save(force_insert=True))
    diagnosis = getattr(refused.value.__cause__, "diag", None)
    assert getattr(diagnosis, "constraint_name", None) == "offer_breaks_in_order"
