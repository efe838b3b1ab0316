"""What is asked of a material and what tests found, on pages; outside a limit the lot is held."""

import re
import uuid
from typing import Any

import pytest
from django.contrib.auth import get_user_model

from tests.factories import TODAY, Workshop, on, open_workshop
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


def test_a_source_that_fails_shows_what_was_made_with_it(shop: Workshop) -> None:
    """From the day when it was last good until it is again; and who is to look."""
    water = shop.water()
    lotion = shop.formula("Lotion", [(water, "100")])

    def made(day: str) -> str:
        batch = shop.plan(lotion, "100 g", planned_for=on(day).date())
        shop.weigh_all(batch, at=on(day))
        return str(shop.finish(batch, "100 g", at=on(day, 10)).lot.code)

    early, suspect, late = (made(f"2025-05-{day}") for day in ("05", "08", "15"))
    client, path = signed_in(shop), f"/materials/{water.id}/source"
    typed = {"source": "tap by the window", "result": "plate count"}
    done(client, path, **typed, passed="yes", tested_on="2025-05-07")
    page = done(client, path, **typed, passed="no", tested_on="2025-05-10")
    assert "Not good on 10 May 2025" in page
    assert "Last good before it: 7 May 2025" in page
    assert f"looks at what was made with it: {name_of(shop)}" in page
    assert early not in page
    assert suspect in page
    assert late in page
    page = done(client, path, **typed, passed="yes", tested_on="2025-05-12")
    assert "Not good on" not in page
    (failed,) = re.findall(r'href="(\?failed=[^"#]+)#', client.get(path).content.decode())
    page = shown(client.get(f"{path}{failed}"))
    assert "Good again: 12 May 2025" in page
    assert suspect in page
    assert late not in page
    assert suspect in client.get(f"{path}{failed}&as=csv&table=batches").content.decode()
    assert client.get(f"{path}?failed={uuid.uuid4()}").status_code == 404


def name_of(shop: Workshop) -> str:
    """The user name of the maker's owner."""
    return str(get_user_model().objects.get(id=shop.actor.person_id).get_username())
