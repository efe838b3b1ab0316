"""A supplier's page: its name, the terms of an order, what it offers and how long it takes."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from api.pages.reader import Reader
from ledger.access import acting_as
from ledger.catalogue import add_supplier
from ledger.models import Membership, Offer, Supplier
from ledger.ordering import Ordered, write_order
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from tests.factories import D, Workshop, open_workshop
from tests.ordering_together import coordinator
from tests.pages.browsing import done, refused, sent, shown, signed_in, typed_in
from tests.pages.figures import workings_of

# Deliveries of two years tell how long it takes.
A_MONTH_AGO = datetime.now(UTC) - timedelta(days=30)


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def client(shop: Workshop) -> Client:
    return signed_in(shop)


def supplier_of(shop: Workshop, name: str) -> Supplier:
    return shop.does(add_supplier, name=name)


def as_role(shop: Workshop, role: Membership.Role) -> Workshop:
    """The workshop as somebody of another role sees it."""
    with acting_as(shop.actor):
        Membership.objects.filter(maker_id=shop.actor.maker).update(role=role)
    return replace(shop, actor=replace(shop.actor, role=role))


def test_it_is_put_right_and_a_change_in_between_is_not_lost(
    shop: Workshop, client: Client
) -> None:
    seller = supplier_of(shop, "Bulk oils")
    path = f"/suppliers/{seller.id}"
    as_it_is = typed_in(client, path, "contact_name")
    assert as_it_is["name"] == "Bulk oils"
    typed = {**as_it_is, "contact_name": "Ada", "mail": "orders@oils.example"}
    assert "orders@oils.example" in done(client, path, **typed)
    assert "without accents" in refused(client, path, **{**typed, "mail": "bestellung@öl.example"})
    again = sent(client, path, **typed)
    assert again.status_code == 422
    assert "changed since you read it" in shown(again)
    assert "Ada" in shown(client.get("/suppliers"))


def test_terms_count_from_their_day_and_what_held_before_is_kept(
    shop: Workshop, client: Client
) -> None:
    seller = supplier_of(shop, "Waxes")
    page, path = f"/suppliers/{seller.id}", f"/suppliers/{seller.id}/terms"
    assert "Nothing is written down" in shown(client.get(page))
    first = {"valid_from": "2025-01-01", "freight_kind": "flat"}
    assert "has an amount" in refused(client, path, **first)
    typed = {**first, "minimum": "150", "freight": "28", "free_from": "400", "lead_time_days": "9"}
    assert "counts today" in done(client, path, **typed)
    seen = shown(client.get(page)).replace("\xa0", " ")
    assert "150.00 USD" in seen
    assert "28.00 USD" in seen
    assert "Orders are planned by 9 days" in seen
    # What is changed next begins as it is, and what held is not overwritten.
    as_it_is = typed_in(client, path, "minimum")
    assert (as_it_is["minimum"], as_it_is["freight"]) == ("150", "28")
    abroad = {**as_it_is, "valid_from": "2025-06-01", "currency": "eur", "minimum": "200"}
    assert "rate of the day" in refused(client, path, **abroad)
    assert "above 0" in refused(client, path, **{**abroad, "rate": "0"})
    history = done(client, path, **{**abroad, "rate": "1.10"}).replace("\xa0", " ")
    assert "220.00 USD" in history
    assert "200.00 EUR" in history
    assert "150.00 USD" in history
    assert "too far away" in refused(client, path, **{**typed, "valid_from": "1925-01-01"})
    kept = client.get(f"{path}?as=csv").content.decode()
    assert "2025-06-01,220,so much an order,30.8" in kept
    assert "2025-01-01,150,so much an order,28" in kept


def test_an_offer_is_written_repriced_and_ended(shop: Workshop, client: Client) -> None:
    seller, oil = supplier_of(shop, "Oils"), shop.material("Olive oil", density="0.91 g/mL")
    path = f"/suppliers/{seller.id}/offers"
    typed = {"material": "olive OIL", "pack": "5 kg", "article_code": "O-5", "price": "40"}
    typed |= {"valid_from": "2025-01-01", "breaks": "2"}
    breaks = {"breaks-0-at_least": "25 kg", "breaks-0-price": "36"}
    assert "No material" in refused(client, path, **{**typed, "material": "Olive"})
    assert "no price" in refused(client, path, **{**typed, "price": "0"})
    risen = refused(client, path, **typed, **{**breaks, "breaks-0-price": "41"})
    assert "lowers the price" in risen
    page = done(client, path, **typed, **breaks).replace("\xa0", " ")
    assert "from 25 kg 36.00 USD 7.2000 USD" in page
    assert "offered already" in shown(sent(client, path, **typed))
    offer = shop.does(lambda actor: Offer.objects.get(supplier=seller.id))
    path = f"/offers/{offer.id}"
    as_it_is = typed_in(client, path, "price")
    assert (as_it_is["price"], as_it_is["breaks-0-price"]) == ("40", "36")
    dearer = {**as_it_is, "valid_from": "2025-02-01", "price": "44", "breaks-0-price": ""}
    assert "Fill this in" in refused(client, path, **dearer)
    dearer["breaks-0-at_least"] = ""
    page = done(client, path, **dearer).replace("\xa0", " ")
    assert "A pack costs today 44.00 USD" in page
    assert "40.00 USD" in page
    assert "44.00 USD" in shown(client.get(f"/suppliers/{seller.id}")).replace("\xa0", " ")
    assert f'href="{path}"' in client.get(f"/materials/{oil.id}").content.decode()
    by_price = [one.exact for one in workings_of(client.get(path).content.decode())]
    assert by_price == [D("8.8"), D(8), D("7.2")]
    abroad = {**dearer, "valid_from": "2025-02-15", "currency": "EUR", "rate": "1.1"}
    done(client, path, **abroad)
    by_price = [one.exact for one in workings_of(client.get(path).content.decode())]
    assert by_price == [D("48.4"), D("9.68"), D("8.8"), D(8), D("7.2")]
    over = done(client, path, do="end", ends_on="2025-03-01", end_note="sold out")
    assert "It is not offered any more" in over
    assert "sold out" in over
    assert client.get(f"{path}?as=csv").content.decode().count("\n") == 6


def test_one_more_break_keeps_what_was_typed(shop: Workshop, client: Client) -> None:
    seller = supplier_of(shop, "Salts")
    path = f"/suppliers/{seller.id}/offers"
    answer = sent(client, path, do="more", material="Salt", breaks="2", **{"breaks-1-price": "7"})
    text = answer.content.decode()
    assert 'name="breaks-2-at_least"' in text
    assert 'value="Salt"' in text
    assert 'name="breaks-1-price" value="7"' in text


def test_lead_times_are_those_of_deliveries(shop: Workshop, client: Client) -> None:
    seller, wax = supplier_of(shop, "Slow waxes"), shop.material("Beeswax")
    page = f"/suppliers/{seller.id}"
    assert "No delivery of an order tells it yet" in shown(client.get(page))
    for days in (4, 6, 11):
        ordered_and_come(shop, seller, str(wax.id), days)
    seen = shown(client.get(page)).replace("\xa0", " ")
    assert "on the mean 7.0 days" in seen
    assert "4 \N{EN DASH} 11 days" in seen
    assert "Orders are planned by 7 days" in seen
    table = client.get(f"{page}?as=csv&table=lead-times").content.decode()
    assert "Beeswax,3,7," in table


def ordered_and_come(shop: Workshop, seller: Supplier, wax: str, days: int) -> None:
    """An order of a month ago that came and was released so many days later."""
    pack, now = parse_quantity("1 kg"), A_MONTH_AGO
    ordered = shop.does(
        write_order, supplier=seller.id, lines=[Ordered(wax, pack, D(5))], happened_at=now
    )
    (line,) = shop.does(lambda actor: list(ordered.lines.all()))
    came = Delivered(wax, f"S{days}", pack, D(5), order_line=str(line.id))
    about = {"supplier": seller.id, "lines": [came], "charges": [], "release_basis": "seen"}
    shop.does(receive, **about, happened_at=now + timedelta(days=days), order=ordered.id)


def test_the_coordinator_writes_for_all(shop: Workshop, client: Client) -> None:
    seller, oil = supplier_of(shop, "For all"), shop.material("Castor oil")
    person = get_user_model().objects.create(username=f"coordinator {shop.coop.id}")
    actor = replace(coordinator(shop), person_id=person.pk)
    with acting_as(actor):
        Membership.objects.create(coop=shop.coop, maker=None, person=person, role=actor.role)
    run, page = signed_in(replace(shop, actor=actor)), f"/suppliers/{seller.id}"
    assert "How long it takes" not in shown(run.get(page))
    typed = {"valid_from": "2025-01-01", "freight_kind": "none", "minimum": "99"}
    assert "for all" in done(run, f"{page}/terms", **typed)
    offer = {"material": oil.name, "pack": "1 kg", "price": "9", "breaks": "1"}
    assert "all makers see it" in done(run, f"{page}/offers", valid_from="2025-01-01", **offer)
    seen = shown(client.get(page)).replace("\xa0", " ")
    assert "99.00 USD" in seen
    assert "Castor oil" in seen
    # A maker's own terms go before those for all.
    done(client, f"{page}/terms", **{**typed, "minimum": "77"})
    assert "77.00 USD" in shown(client.get(page)).replace("\xa0", " ")
    assert "77.00" not in shown(run.get(page))


def test_who_may_not_write_is_not_offered_it(shop: Workshop) -> None:
    other = open_workshop()
    seller = supplier_of(other, "Oils")
    bench = signed_in(as_role(other, Membership.Role.BENCH))
    seen = shown(bench.get(f"/suppliers/{seller.id}"))
    assert "What holds for an order" not in seen
    assert "How long it takes" in seen
    assert bench.get(f"/suppliers/{seller.id}/terms").status_code == 403
    reads = signed_in(as_role(other, Membership.Role.READ_ONLY))
    seen = shown(reads.get(f"/suppliers/{seller.id}"))
    assert "What held before" in seen
    assert "Write an offer" not in seen
    assert "Keep it" not in shown(reads.get(f"/suppliers/{seller.id}/terms"))
    assert reads.get(f"/suppliers/{seller.id}/offers").status_code == 403


def test_what_somebody_asks_in_their_currency_has_its_decimals() -> None:
    asked = [("12.5", "EUR"), ("12.345", "EUR"), ("1500", "JPY"), ("0.5", "KWD")]
    told = [Reader("de").abroad(D(value), currency) for value, currency in asked]
    kept = [one.replace("\N{NO-BREAK SPACE}", " ") for one in told]
    assert kept == ["12,50 EUR", "12,345 EUR", "1.500 JPY", "0,500 KWD"]
