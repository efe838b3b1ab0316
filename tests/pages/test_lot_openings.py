"""When a lot was opened, on its own page, on its material's and at the bench, worked by hand."""

import re
from datetime import UTC, date, datetime, timedelta

from django.test import Client

from ledger.issuing import Taken, issue
from ledger.opened_lots import say_opened
from ledger.quantities import parse_quantity
from tests.factories import MORNING, TODAY, Workshop
from tests.openings import after, lasts, sampled
from tests.pages.browsing import done, refused, shown


def plain(words: str) -> str:
    return " ".join(words.replace("\xa0", " ").split())


def told(day: date) -> str:
    return f"{day:%-d %b %Y}"


def test_a_lot_s_page_says_since_when_it_is_open_and_puts_it_right(
    shop: Workshop, client: Client
) -> None:
    oil = shop.material("Rosehip oil", use_within_days=30)
    lot = shop.receive(oil, "1 kg", "9.00", expires_on=date(2099, 1, 31))
    page = f"/lots/{lot.id}"
    first = plain(shown(client.get(page)))
    assert "From that day it is good for 30 days, if its own date does not come first." in first
    assert "Put it right" not in first
    early = str(TODAY - timedelta(days=1))
    assert "The lot came after this day" in refused(client, page, do="open", opened_on=early)
    words = plain(done(client, page, do="open", opened_on=str(TODAY)))
    assert f"Since it is open, use by {told(TODAY + timedelta(days=30))}" in words
    assert "past its day" in words
    later = str(TODAY + timedelta(days=1))
    assert "Say why" in refused(client, page, do="open", opened_on=later)
    words = plain(done(client, page, do="open", opened_on=later, reason="a slip of the day"))
    assert f"use by {told(TODAY + timedelta(days=31))}" in words
    assert "a slip of the day" in words
    shelf = plain(shown(client.get(f"/lots?q={lot.code}")))
    assert f"until {told(TODAY + timedelta(days=31))}" in shelf
    words = plain(done(client, page, do="open", opened_on="", reason="another drum"))
    assert "Not open after all" in words
    assert "Since it is open" not in words
    assert "past its day" not in words


def test_the_next_can_of_a_lot_is_opened_for_a_reason(shop: Workshop, client: Client) -> None:
    lot = shop.receive(shop.material("Almond oil"), "1 kg", "9.00")
    taken = [Taken(lot=lot.id, quantity=parse_quantity("10 g"))]
    shop.does(issue, lines=taken, purpose="sample", reason="smelt", happened_at=MORNING)
    page, later = f"/lots/{lot.id}", str(TODAY + timedelta(days=1))
    words = refused(client, page, do="open", opened_on=later)
    assert f"drawn on {told(TODAY)} already" in plain(words)
    words = plain(done(client, page, do="open", opened_on=later, reason="the second can"))
    assert f"Opened on {told(TODAY + timedelta(days=1))}" in words
    assert "the second can" in words


def test_what_its_draws_show_is_proposed_and_taken_back_for_a_reason(
    shop: Workshop, client: Client
) -> None:
    oil = shop.material("Apricot oil")
    lots = [shop.receive(oil, "1 kg", "9.00") for _ in range(2)]
    empty = "Leave it empty if it is not open after all"
    assert empty not in shown(client.get(f"/lots/{lots[0].id}"))
    for lot in lots:
        sampled(shop, lot, 1)
    page = f"/lots/{lots[0].id}"
    answer = client.get(page)
    assert empty in shown(answer)
    assert f'value="{after(1)}"' in answer.content.decode()
    assert "Say why" in refused(client, page, do="open", opened_on="")
    done(client, page, do="open", opened_on="", reason="the next can is sealed")
    lasts(shop, oil, 30)
    already = "It was open already when its material got its days."
    assert already not in shown(client.get(page))
    words = plain(shown(client.get(f"/lots/{lots[1].id}")))
    assert already in words
    assert f"Since it is open, use by {told(after(31))}" in words


def test_a_label_has_the_days_of_an_open_lot(shop: Workshop, client: Client) -> None:
    lot = shop.receive(shop.material("Plum oil", use_within_days=30), "1 kg", "9.00")
    label = f"/lots/{lot.id}/label"
    words = plain(shown(client.get(label)))
    assert "Opened on ____" in words
    assert "Once open, use within 30 days" in words
    shop.does(say_opened, lot=lot.id, opened_on=TODAY)
    words = plain(shown(client.get(label)))
    assert f"Opened on {told(TODAY)}" in words
    assert f"Once open, use by {told(TODAY + timedelta(days=30))}" in words


def test_the_days_are_said_of_the_material_and_the_bench_tells_the_first_draw(
    shop: Workshop, client: Client
) -> None:
    oil = shop.material("Sesame oil")
    facts = client.get(f"/materials/{oil.id}/facts").content.decode()
    version = re.search(r'name="version" value="(\d+)"', facts)
    assert version
    typed = {"version": version[1], "name": oil.name, "declared_as": "ingredient"}
    assert "3650" in refused(client, f"/materials/{oil.id}/facts", **typed, use_within_days="9999")
    page = done(client, f"/materials/{oil.id}/facts", **typed, use_within_days="180")
    assert "Once it is open 180 days" in plain(page)
    lot = shop.receive(oil, "1 kg", "9.00")
    planned = shop.plan(shop.formula("Sesame balm", [(oil, "100")]), "100 g")
    bench, line = f"/batches/{planned.batch.id}/bench", str(planned.lines[0].line.id)
    until = told(datetime.now(UTC).date() + timedelta(days=180))
    first = done(client, bench, line=line, lot=lot.code, quantity="10", do="weigh")
    assert f"{lot.code} is open now: use it by {until}." in plain(first)
    again = done(client, bench, line=line, lot=lot.code, quantity="10", do="weigh")
    assert "is open now" not in again


def test_who_opens_a_lot_is_told_that_no_end_of_it_is_known(shop: Workshop, client: Client) -> None:
    lot = shop.receive(shop.material("Hemp oil"), "1 kg", "9.00")
    answer = client.get(f"/lots/{lot.id}")
    assert "How long it is good once it is open is not known" in shown(answer)
    opening = answer.content.decode().partition('id="opening"')[2].partition("</form>")[0]
    assert f'href="/materials/{lot.material_id}"' in opening
