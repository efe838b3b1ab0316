"""What is asked of a material and what tests found, on pages; outside a limit the lot is held."""

from typing import Any

import pytest

from tests.factories import TODAY, Workshop, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def row(of: str, place: int, **typed: str) -> dict[str, str]:
    return {f"{of}-{place}-{name}": text for name, text in typed.items()}


def test_a_result_outside_its_limit_holds_the_lot(shop: Workshop) -> None:
    oil = shop.material("Oil")
    lot = shop.receive(oil, "1 kg", "9.00")
    client = signed_in(shop)
    asked, tests = f"/materials/{oil.id}/limits", f"/lots/{lot.id}/results"
    assert "Nothing yet" in shown(client.get(asked))
    limits = {"limits": "2", **row("limits", 0, name="Freezes at", high="-2.5", unit="degC")}
    twice = row("limits", 1, name="freezes at", low="1")
    assert "stands twice" in refused(client, asked, **limits, **twice)
    colour = row("limits", 1, name="Colour", text="as the sample")
    page = done(client, asked, **limits, **colour, reason="first")
    assert "at most -2.5 degC" in page
    assert 'value="-2.5"' in client.get(asked).content.decode()
    page = done(client, asked, **limits, reason="colour is looked at elsewhere")
    assert "as the sample" not in page
    assert 'value="Freezes at"' in client.get(tests).content.decode()
    found = {"results": "1", "tested_on": str(TODAY)}
    found |= row("results", 0, name="Freezes at", unit="degC")
    assert refused(client, tests, **{**found, "results-0-value": "warm"})
    late = {**found, "tested_on": "2199-01-01", "results-0-value": "-3"}
    assert "lies in the future" in refused(client, tests, **late)
    page = done(client, tests, **found, **{"results-0-value": "-3"})
    assert "inside" in page
    assert "released" in page
    page = done(client, tests, **found, **{"results-0-value": "1"})
    assert "outside" in page
    assert "on hold" in page


def test_a_source_is_tested_where_there_is_no_lot(shop: Workshop) -> None:
    water = shop.water()
    client, path = signed_in(shop), f"/materials/{water.id}/source"
    assert "Tests of the source" in shown(client.get(f"/materials/{water.id}"))
    typed = {"source": "tap by the window", "result": "plate count 12", "passed": "yes"}
    assert "future" in refused(client, path, **typed, tested_on="2199-01-01")
    page = done(client, path, **typed, tested_on=str(TODAY))
    assert "plate count 12" in page
    assert "good to use" in page
