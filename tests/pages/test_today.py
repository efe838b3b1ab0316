"""Today: what waits is told as it is, and each row has the act that settles it."""

import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from formulas.complaints import add_fact, log_complaint
from formulas.first_steps import Step, first_steps
from formulas.today import today
from ledger import reviewing
from ledger.alerts import set_watch
from ledger.issuing import Taken, sell
from ledger.lots import decide
from ledger.models import Membership
from ledger.places import add_place, put_lot
from ledger.quantities import parse_quantity
from ledger.recall_records import open_recall
from ledger.source_tests import record_source_test
from ledger.transferring import accept_transfer, offer_transfer
from tests.benchmarks.pages import _row
from tests.factories import MORNING, TODAY, Workshop, open_workshop
from tests.ledger.bench import work_off
from tests.pages.browsing import done, in_role, sent, shown, signed_in
from tests.pages.looking import looked_at

MOST = 15
NOW = datetime.now(UTC).date()


@pytest.fixture
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def said(client: Client) -> str:
    return shown(client.get("/")).replace("\xa0", " ")


def under(page: str, heading: str) -> str:
    """What Today says from a heading on."""
    return page.partition(heading)[2]


def tapped(client: Client, do: str, of: Any) -> str:
    return done(client, "/", do=do, of=str(of)).replace("\xa0", " ")


def test_what_came_since_is_told_and_promised_with_a_tap(shop: Workshop) -> None:
    """Two batches lack 1 kg each; 1.5 kg come: the first is found, the second lacks 500 g."""
    oil = shop.material("Oat oil")
    balm = shop.formula("Oat balm", [(oil, "100")])
    days = [NOW + timedelta(days=ahead) for ahead in (2, 4)]
    first, second = (shop.plan(balm, "1 kg", planned_for=day).batch for day in days)
    client = signed_in(shop)
    before = under(said(client), "Cannot be made yet")
    assert "Lacking: 1 kg Oat oil" in before
    assert f'href="/order/plan?until={days[0]}"' in client.get("/").content.decode()
    assert "Look again in the store" not in before
    shop.receive(oil, "1500 g", "9.00")
    # Too old for the second day, still good for the first.
    shop.receive(oil, "1 kg", "6.00", expires_on=days[0] - timedelta(days=1))
    shop.receive(oil, "1 kg", "6.00", release=None)
    page = said(client)
    short, _, found = page.partition("What was lacking is here")
    assert f"{second.code} Oat balm" in under(short, "Cannot be made yet")
    assert "Lacking: 1 kg Oat oil ( 500 g in store by now)" in short
    assert "Look again in the store" in short
    assert f"{first.code} Oat balm" in found
    assert "In store by now, and promised to nobody: 1 kg Oat oil" in found
    reader = said(in_role(shop, Membership.Role.READ_ONLY))
    assert "What was lacking is here" in reader
    assert "Look again in the store" not in reader
    page = tapped(client, "choose", first.id)
    assert "What was lacking is here" not in page
    assert f"{first.code} Oat balm" in under(page, "Ready for the bench")
    page = tapped(client, "choose", second.id)
    assert "Lacking: 500 g Oat oil" in page
    assert "Look again in the store" not in page
    other = signed_in(open_workshop("Mill Bench", coop=shop.coop))
    assert sent(other, "/", do="choose", of=str(second.id)).status_code == 422


def test_a_promise_that_does_not_hold_is_told_too(shop: Workshop) -> None:
    """The lot that was promised is held: the plan lacks all of it, which is told in one place."""
    wax = shop.material("Wax")
    lot = shop.receive(wax, "1 kg", "5.00")
    day = NOW + timedelta(days=3)
    planned = shop.plan(shop.formula("Wax balm", [(wax, "100")]), "1 kg", planned_for=day)
    shop.decide(lot, "hold")
    client, now = signed_in(shop), datetime.now(UTC)
    shop.does(lambda actor: reviewing.review(actor.coop_id, actor.maker, now=now))
    page = under(said(client), "Cannot be made yet")
    assert f"{planned.batch.code} Wax balm {day:%-d %b %Y}. Lacking: 1 kg Wax" in page
    assert "Have a look" not in page
    shop.receive(wax, "1 kg", "5.00")
    assert "What was lacking is here" in said(client)
    assert "Ready for the bench" in tapped(client, "choose", planned.batch.id)


def test_what_runs_low_says_when_it_is_used_up(shop: Workshop) -> None:
    """Of 10 kg 9 were sold: a mean of 100 g a day of the last ninety leaves ten days of 1 kg."""
    salt = shop.material("Salt")
    now = datetime.now(UTC)
    lot = shop.receive(salt, "10 kg", "5.00", at=now - timedelta(days=2))
    sold = [Taken(lot.id, parse_quantity("9 kg"))]
    shop.does(sell, lines=sold, customer="stall 4", happened_at=now - timedelta(days=1))
    balm = shop.formula("Salt balm", [(salt, "100")]).formula
    for low in (salt.id, balm.material_id):
        shop.does(set_watch, material=low, reorder_point=parse_quantity("2 kg"))
    work_off()
    client = signed_in(shop)
    page = under(said(client), "Have a look")
    assert re.search(r"1 kg to count on; warned at 2 kg · runs out on \d+ \w+ 20\d\d", page)
    # What is made here is planned, with what it is made by; what is bought is ordered.
    links = client.get("/").content.decode()
    assert f"/order/plan?material={salt.id}" in links
    assert f"/order/plan?material={balm.material_id}" not in links
    plan = client.get(f"/batches/new?what=formula:{balm.id}").content.decode()
    assert f'"/batches/new?what=formula:{balm.id}"' in links
    assert f'<option value="formula:{balm.id}" selected>' in plan


def test_a_notice_leads_to_itself_and_old_goods_to_what_is_done_with_them(shop: Workshop) -> None:
    other = open_workshop("Mill Bench", coop=shop.coop)
    lot = shop.receive(shop.material("Shea butter"), "5 kg", "50.00")
    to = {"maker": other.actor.maker, "quantity": parse_quantity("1 kg")}
    offer = shop.does(offer_transfer, lot=lot.id, **to, happened_at=MORNING)
    begun = [Step.MATERIAL]
    assert [one.step for one in other.does(first_steps) if one.done] == begun
    other.does(accept_transfer, transfer=offer.id, happened_at=MORNING)
    # What came from another maker has come as well as what a supplier brought.
    assert [one.step for one in other.does(first_steps) if one.done] == [*begun, Step.DELIVERY]
    shop.does(open_recall, lot=lot.id, reason="mould", happened_at=MORNING)
    mill = signed_in(other)
    page = mill.get("/").content.decode()
    (notice,) = set(re.findall(r'href="(/recall-notices/[^"]+)"', page))
    assert "mould" in shown(mill.get(notice))
    told = "North Bench calls this lot back, and waits for your answer: stop using it."
    for place in (f"/lots/{lot.id}", f"/lots/{lot.id}/out"):
        assert told in shown(mill.get(place))
        assert f'href="{notice}"' in mill.get(place).content.decode()
        assert told not in shown(signed_in(shop).get(place))
    done(mill, notice, hold="on")
    assert told not in shown(mill.get(f"/lots/{lot.id}"))
    soon, gone = (
        other.receive(other.material(name), "1 kg", "5.00", expires_on=NOW + timedelta(days=days))
        for name, days in (("Rose water", 5), ("Yeast", -3))
    )
    page = mill.get("/").content.decode()
    assert f"/lots/{soon.id}/share" in page
    assert f"/lots/{gone.id}/out" in page


def test_a_source_is_to_be_tested_until_it_is_good_and_once_a_year(shop: Workshop) -> None:
    water, client = shop.water(), signed_in(shop)
    assert "Sources to test" not in said(client), "who keeps no tests is not asked for them"
    about = {"material": water.id, "source": "tap by the window", "today": NOW}

    def tested(days_ago: int, result: str, *, passed: bool) -> None:
        on = NOW - timedelta(days=days_ago)
        shop.does(record_source_test, tested_on=on, result=result, passed=passed, **about)

    tested(366, "plate count 12", passed=True)
    page = under(said(client), "Sources to test")
    assert "Aqua not tested for a year" in page
    tested(365, "plate count 9", passed=True)
    assert "Sources to test" not in said(client)
    tested(3, "plate count 900", passed=False)
    assert "Aqua was not good tap by the window" in under(said(client), "Sources to test")
    assert f'href="/materials/{water.id}/source"' in client.get("/").content.decode()
    tested(3, "plate count 7, after the filter was changed", passed=True)
    assert "Sources to test" not in said(client)
    other = signed_in(open_workshop("Mill Bench", coop=shop.coop))
    assert "Sources to test" not in said(other)


def test_a_report_waits_until_it_is_noted_or_the_complaint_is_closed(shop: Workshop) -> None:
    """A rash of today: the EU's twenty days end first, or fifteen business days do."""
    client, days = signed_in(shop), {"today": NOW}
    harm = {"adverse": True, "serious": True, "received_on": NOW - timedelta(days=30)}
    assert "report" not in said(client)
    made = shop.does(log_complaint, what_happened="a rash that lasts", **harm, **days)
    shop.does(log_complaint, what_happened="it smells", received_on=NOW, **days)
    page = under(said(client), "A report may have to be made")
    assert "a rash that lasts its day has passed" in page
    assert "it smells" not in page
    assert f'href="/complaints/{made.id}"' in client.get("/").content.decode()
    about = {"complaint": made.id, "on": NOW, "text": "sent", **days}
    shop.does(add_fact, kind="reported_eu", **about)
    assert "605(b)(1)" in under(said(client), "A report may have to be made")
    shop.does(add_fact, kind="closed", **about)
    assert "A report may" not in said(client)
    shop.does(add_fact, kind="note", **about)
    assert "A report may" in said(client), "it is open again"
    shop.does(add_fact, kind="reported_us", **about)
    assert "A report may" not in said(client)


def test_a_rule_that_was_not_kept_is_told_until_somebody_decides(shop: Workshop) -> None:
    oil = shop.material("Oil")
    shop.receive(oil, "1 kg", "9.00")
    raw = shop.receive(oil, "1 kg", "9.00", release=None)
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "1 kg")
    client, list_of = signed_in(shop), f"/deviations?batch={planned.batch.id}"
    assert list_of not in client.get("/").content.decode()
    shop.weigh(planned, 0, raw, "1000 g", deviation="the stall opens at nine")
    page = client.get("/").content.decode()
    told = under(shown(client.get("/")), "All weighed in")
    assert "weighed outside the rules or the formula" in told
    assert list_of in page
    lot = shop.finish(planned, "990 g", release=None).lot
    told = under(said(client), "Waiting to be released")
    assert "made outside the rules or the formula: look before you decide" in told
    assert list_of in client.get("/").content.decode()
    shop.decide(lot, "release")
    assert list_of not in client.get("/").content.decode()


def test_all_of_it_together_asks_no_more_than_a_page_may(shop: Workshop) -> None:
    """Each list with something in it, and then with more."""
    other, client = open_workshop("Mill Bench", coop=shop.coop), signed_in(shop)
    _something_of_each(shop, other, 0)
    work_off()
    few = looked_at(client, "/")
    for heading in (
        *("Called back by another maker", "A report may have to be made", "Offered to you"),
        *("Cannot be made yet", "What was lacking is here", "Waiting to be released"),
        *("To be tested again", "Sources to test", "Have a look", "Use soon"),
    ):
        assert heading in few.text, heading
    assert few.queries <= MOST
    for number in range(1, 4):
        _something_of_each(shop, other, number)
    work_off()
    assert looked_at(client, "/").queries == few.queries


def _something_of_each(shop: Workshop, other: Workshop, number: int) -> None:
    oil, wax = (shop.material(f"{name} {number}") for name in ("Oil", "Wax"))
    tap = shop.material(f"Tap {number}", stocked=False, density="1 g/mL")
    shop.does(set_watch, material=wax.id, reorder_point=parse_quantity("1 kg"))
    about = {"tested_on": TODAY, "today": TODAY, "result": "900", "passed": False}
    shop.does(record_source_test, material=tap.id, source="tap", **about)
    harm = {"adverse": True, "serious": True, "received_on": TODAY, "today": TODAY}
    shop.does(log_complaint, what_happened="a rash", **harm)
    for what in (oil, wax):
        shop.plan(shop.formula(f"Of {what.name}", [(what, "100")]), "1 kg", planned_for=NOW)
    shop.receive(oil, "2 kg", "5.00", expires_on=NOW + timedelta(days=5))
    shop.receive(oil, "1 kg", "5.00", retest_on=NOW, release=None)
    lot = other.receive(oil, "5 kg", "50.00")
    to = {"maker": shop.actor.maker, "quantity": parse_quantity("1 kg"), "happened_at": MORNING}
    taken = other.does(offer_transfer, lot=lot.id, **to)
    shop.does(accept_transfer, transfer=taken.id, happened_at=MORNING)
    other.does(offer_transfer, lot=lot.id, **to)
    other.does(open_recall, lot=lot.id, reason="mould", happened_at=MORNING)


def test_many_out_of_place_hide_no_lot_that_waits_for_a_decision(shop: Workshop) -> None:
    """Nine released lots lie among what is kept apart, and one that waits lies wrong as well."""
    oil = shop.material("Oat oil")
    waiting, sales = (
        shop.does(add_place, name=name, keeps=keeps)
        for name, keeps in (("Waiting shelf", "quarantine"), ("Sales shelf", "released"))
    )
    for _ in range(9):
        lot = shop.receive(oil, "1 kg", "6.00", release=None)
        shop.does(put_lot, lot=lot.id, place=waiting.id)
        shop.does(decide, lot=lot.id, decision="release", basis="as it should be")
    last = shop.receive(oil, "1 kg", "6.00")
    shop.does(put_lot, lot=last.id, place=sales.id)
    shop.does(decide, lot=last.id, decision="quarantine", basis="the label came off")
    found = shop.does(today, now=datetime.now(UTC))
    assert [one.lot.code for one in found.undecided] == [last.code]
    assert (len(found.misplaced), found.more) == (8, {"misplaced"})


def test_a_list_that_is_cut_says_so_and_where_all_of_it_is(shop: Workshop) -> None:
    """Eight lots wait for their release, and then a ninth; of batches there are 17, not 16."""
    oil = shop.material("Oat oil")
    balm = shop.formula("Oat balm", [(oil, "100")])
    client = signed_in(shop)
    for _ in range(8):
        shop.receive(oil, "1 kg", "6.00", release=None)
    for _ in range(16):
        shop.plan(balm, "1 kg")
    assert "There are more" not in said(client)
    shop.receive(oil, "1 kg", "6.00", release=None)
    shop.plan(balm, "1 kg")
    page = client.get("/").content.decode()
    assert page.count("There are more: they stand here once these are done.") == 2
    assert 'href="/lots?status=quarantine"' in page
    assert 'href="/batches?state=planned"' in page


def test_the_bench_measures_a_page_beside_the_bare_rendering_of_it(shop: Workshop) -> None:
    row = _row(signed_in(shop), "/", turns=1)
    assert row.work.startswith("page /: ")
    assert row.met
    assert Decimal(row.ratio) > 1
