"""Pounds and ounces for whoever reads so: what is stored stays, prices are for a pound."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from api.pages.facts_told import told
from api.pages.forms import GramsField, QuantityField
from api.pages.reader import Reader
from ledger import rounds
from ledger.amounts import Amount
from ledger.errors import Sentence
from tests.factories import D, Workshop, open_workshop
from tests.ordering_together import asked
from tests.pages.browsing import done, shown, signed_in
from tests.pages.test_pricing import SOLD

NO_BREAK = "\N{NO-BREAK SPACE}"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def test_pages_are_read_in_pounds(shop: Workshop) -> None:
    """A pound is 453.59237 g (NIST SP 811, appendix B): 14.881 a kilogram are 6.7499 a pound."""
    oil = shop.material("Oil")
    jar = shop.material("Jar", measured_by="count")
    lot = shop.receive(oil, "10 kg", "148.81")
    shop.receive(jar, "40 each", "10.00")
    version = shop.formula("Balm", [(oil, "100")])
    product = shop.product(version, "100 g")
    client = signed_in(shop)
    where = f"/materials/{oil.id}"
    kept = shown(client.get(where))
    assert "Prices are for a kilogram" in kept
    assert "14.8810 USD" in kept
    done(client, "/look", units="us", numbers="", theme="")
    page = shown(client.get(where))
    assert "22.046 lb" in page
    assert "Prices are for a pound" in page
    assert "6.7499 USD" in page
    assert "14.8810 USD" not in page
    assert "Prices are for a piece" in shown(client.get(f"/materials/{jar.id}"))
    assert "0.2500 USD" in shown(client.get(f"/materials/{jar.id}"))
    assert "6.75 USD a pound" in shown(client.get(f"/formulas/{version.formula_id}/next"))
    assert "22.046 lb" in shown(client.get(f"/lots/{lot.id}"))
    done(client, "/look", units="", numbers="", theme="")
    # What a plot draws stands beneath it, and in a file of its own.
    priced = f"/products/{product.id}/price"
    assert "The same in figures" in shown(client.get(priced, SOLD))
    rows = client.get(priced, SOLD | {"as": "csv", "table": "margins"}).content.decode()
    assert len(rows.splitlines()) == 26
    assert "Wholesale, %" in rows.splitlines()[0]


def test_what_is_weighed_is_told_in_both_units(shop: Workshop) -> None:
    """Grams are exact, and no table compares grams with pounds: 857.29 g are 1.89 lb."""
    wax = shop.material("Wax")
    lot = shop.receive(wax, "3934.5 g", "40.00")
    version = shop.formula("Wax melt", [(wax, "100")])
    planned = shop.plan(version, "857.29 g")
    client, of = signed_in(shop), f"/formulas/{version.formula_id}"
    bench = f"/batches/{planned.batch.id}/bench"

    def told(path: str) -> str:
        return shown(client.get(path)).replace(NO_BREAK, " ")

    assert "Wax 857.29 g 3,077.21 g" in told(f"{of}?size=857.29 g")
    assert "lb" not in told(bench)
    done(client, "/look", units="us", numbers="", theme="")
    page = told(f"{of}?size=857.29 g")
    assert "Wax 857.29 g = 1.89 lb 3,077.21 g = 6.784 lb" in page
    page = told(bench)
    assert "Wax 857.29 g 1.89 lb" in page
    done(client, bench, line=str(planned.lines[0].line.id), lot=lot.code, quantity="2 oz")
    page = told(bench)
    # An avoirdupois ounce is 28.349523125 g (NIST SP 811, appendix B).
    assert "56.7 g = 2 oz wt of 857.29 g = 1.89 lb are in" in page
    done(client, "/look", units="", numbers="", theme="")


@pytest.mark.parametrize(
    ("typed", "grams"),
    [
        ("2 oz", "56.69904625"),
        ("2oz.", "56.69904625"),
        ("1 1/2 oz", "42.5242846875"),
        ("1 lb 2 oz", "510.29141625"),
        ("2", "2"),
    ],
)
def test_ounces_on_a_scale_are_a_weight(typed: str, grams: str) -> None:
    field = GramsField()
    assert field.clean(typed).amount == D(grams)
    with pytest.raises(ValidationError):
        QuantityField().clean("2 oz")


def test_little_is_not_nothing() -> None:
    """Half a hundredth of a gram is written as it is, and no quantity as nothing that is not."""
    metric, us = Reader(), Reader(us=True)
    assert metric.quantity(D("0.0042")) == "0.004\N{NO-BREAK SPACE}g"
    assert metric.quantity(D("0.000000")) == "0\N{NO-BREAK SPACE}g"
    assert metric.percent(D("0.00021")) == "0.0002\N{NO-BREAK SPACE}%"
    assert us.quantity(D("0.001")) == "0.00004\N{NO-BREAK SPACE}oz wt"


def test_an_amount_in_a_sentence_is_written_as_its_reader_writes_amounts() -> None:
    said = Sentence("{name} is low: {position}", name="Oil", position=Amount(D(-1500), False))
    assert said == "Oil is low: -1.5 kg"
    assert Reader(us=True).say(said) == "Oil is low: -3.307\N{NO-BREAK SPACE}lb"
    assert Reader("de").say(said) == "Oil is low: -1,5\N{NO-BREAK SPACE}kg"


def test_pieces_that_were_typed_are_called_so() -> None:
    assert told({"entered": "3000 each"}, Reader()) == "entered: 3,000 pieces"


def test_facts_are_written_as_their_reader_writes_and_names_stay() -> None:
    facts = {"used": "1180.500000 g", "entered": "2.50 kg", "supplier_lot": "7.10", "lot": "NB1"}
    told_so = "used: 1.180,5 g · entered: 2,50 kg · supplier's lot: 7.10 · lot: NB1"
    assert told(facts, Reader("de")) == told_so


def test_what_is_told_for_a_pound_is_typed_for_a_pound() -> None:
    """6.75 a pound are 14.881202 a kilogram; a piece is a piece."""
    us, metric = Reader(us=True, currency="USD"), Reader(currency="USD")
    assert us.per_kilogram(D("6.75")) == D("14.881203")
    assert us.amount(us.per_mass(us.per_kilogram(D("6.75")))) == "6.75"
    assert us.per_kilogram(D("6.75"), counted=True) == D("6.75") == metric.per_kilogram(D("6.75"))


def test_a_round_and_another_price_are_typed_in_the_readers_unit(shop: Workshop) -> None:
    oil = shop.material("Rapeseed oil")
    shop.receive(oil, "10 kg", "100.00")
    version = shop.formula("Rape balm", [(oil, "100")])
    shop.product(version, "453.59237 g")
    now = datetime.now(UTC)
    round = asked(shop, now=now, closes_at=now + timedelta(days=1))
    client = signed_in(shop)
    path, look = f"/order-rounds/{round.id}", {"numbers": "", "theme": ""}
    asks = f"/what-if?material={oil.id}&price=9"
    assert "At most, for a kilogram or piece" in shown(client.get(path))
    assert "9.00 USD" in shown(client.get(asks))
    done(client, "/look", units="us", **look)
    assert "At most, for a pound or piece" in shown(client.get(path))
    pledge = {"do": "pledge", "material": oil.name, "quantity": "2 lb", "highest_price": "6.75"}
    assert "at most 6.7500 USD a pound" in done(client, path, **pledge)
    page = shown(client.get(asks))
    assert "A pound, or a piece of what is counted" in page
    assert "9.0000 USD" in page
    working = client.get(f"/formulas/{version.formula_id}/cost?material={oil.id}&price=19.841604")
    assert "price=9.00" in working.content.decode()
    done(client, "/look", units="", **look)
    (kept,) = shop.does(rounds.standing_pledges, round.id)
    assert kept.highest_price == D("14.881203")
