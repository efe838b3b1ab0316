"""What a container holds, on its page, and the money that it gives away if it is filled by eye."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from formulas.leaks import leaks
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, refused, sent, shown, signed_in, typed_in
from tests.pages.figures import workings_of

LAST_WEEK = datetime.now(UTC) - timedelta(days=7)
# By Kell's density of water at 20 degC and in air, 280 g hold 280.80 mL.
PIECES = {"pieces-0-gross": "310", "pieces-0-tare": "30", "pieces-1-gross": "310.2"}


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def assert_reckoned(page: str) -> None:
    """What it holds, and what a piece and a year's twenty give away."""
    told = workings_of(page)
    of_piece, of_year = "Body oil 250 mL: a piece", "Body oil 250 mL: a year"
    assert [(one.name, one.exact) for one in told] == [
        ("May be filled, by the smallest", D("275.18")),
        ("More than it says", D("25.18")),
        ("More than it says, in percent", D("10.072")),
        ("To the brim, on the mean", D("280.80")),
        (of_piece, D("25.18")),
        (of_piece, D("22.662")),
        (of_piece, D("0.22662")),
        (of_year, D("453.24")),
        (of_year, D("4.5324")),
    ]
    assert told[1].adds_up


def test_a_container_is_measured_and_tells_what_it_gives_away(shop: Workshop) -> None:
    bottle = shop.material("Bottle", measured_by="count")
    shop.receive(bottle, "100 each", "20.00")
    oil = shop.material("Oil", density="0.9 g/mL")
    shop.receive(oil, "10 kg", "100.00")
    formula = shop.formula("Body oil", [(oil, "100")], density="0.9 g/mL")
    product = shop.product(formula, "250 mL", [(bottle, "1 each")])
    shop.product(formula, "300 mL", [(bottle, "1 each")])
    planned = shop.plan(product, 20, planned_for=LAST_WEEK.date())
    shop.weigh_all(planned, at=LAST_WEEK)
    shop.finish(planned, "4.5 kg", at=LAST_WEEK, units=20)
    client, path = signed_in(shop), f"/materials/{bottle.id}/container"
    assert "Nothing is known of it" in shown(client.get(path))
    assert "is a volume" in refused(client, path, do="facts", nominal="250 g")
    facts = {"do": "facts", "nominal": "250 mL", "headspace_percent": "2"}
    assert "250 mL" in done(client, path, **facts)
    water = {"do": "fill", "level": "brimful", "at": "20", "pieces": "3", **PIECES}
    assert "Fill this in" in refused(client, path, **water)
    light = {**water, "pieces-1-tare": "320"}
    assert "weighs no more than the empty one" in refused(client, path, **light)
    water["pieces-1-tare"] = "30.2"
    page = done(client, path, **water).replace("\xa0", " ")
    assert "To the brim, on the mean 280.80 mL" in page
    assert "May be filled, by the smallest 275.18 mL" in page
    assert "More than it says: 25.18 mL, 10.072 %" in page
    # 25.18 mL at 0.9 g/mL are 22.662 g at 10.00 a kilogram: 0.23 a piece, 4.53 for twenty.
    assert "Body oil 250 mL 20 in a year 25.18 mL 22.66 g 0.23 USD 4.53 USD 453.24 g" in page
    assert "Body oil 300 mL" not in page
    assert_reckoned(client.get(path).content.decode())
    (leak,) = shop.does(leaks, now=datetime.now(UTC))
    assert leak.year is not None
    assert (leak.year.units, leak.year.money) == (20, D("4.5324"))
    held = shown(client.get("/containers")).replace("\xa0", " ")
    assert "Bottle sold as holding 250 mL 275.18 mL 25.18 mL" in held
    assert client.get(f"{path}?as=csv").content.decode().count("280.8") == 2
    # Measured to its level it holds less, and that counts before what is reckoned from the brim.
    level = {**water, "level": "usable", "pieces-0-gross": "281", "pieces-1-gross": "281.2"}
    page = done(client, path, **level).replace("\xa0", " ")
    assert "May be filled, by the smallest 251.72 mL" in page
    higher = {**level, "pieces-0-gross": "330", "pieces-1-gross": "330"}
    assert "measured wrong" in refused(client, path, **higher)


def test_one_more_piece_keeps_what_was_typed_and_others_are_told(shop: Workshop) -> None:
    jar = shop.material("Jar", measured_by="count")
    client, path = signed_in(shop), f"/materials/{jar.id}/container"
    done(client, path, do="facts", nominal="60 mL")
    asked = {"do": "more", "level": "brimful", "at": "21", "pieces": "3"}
    text = sent(client, path, **asked, **{"pieces-2-gross": "92"}).content.decode()
    assert 'name="pieces-3-gross"' in text
    assert 'name="pieces-2-gross" value="92"' in text
    as_it_is = typed_in(client, path, "nominal")
    assert as_it_is["version"] == "1"
    done(client, path, do="facts", **as_it_is)
    assert "changed since you read it" in shown(sent(client, path, do="facts", **as_it_is))
    wax = shop.material("Wax")
    assert "It is used by weight" in shown(client.get(f"/materials/{wax.id}/container"))
    assert f"{path}" in client.get(f"/materials/{jar.id}").content.decode()
