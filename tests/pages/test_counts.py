"""A count on its pages: blind, read twice, explained by its causes, closed; and one dropped."""

import re
from typing import Any
from unittest.mock import patch

import pytest

from api.pages import count_closing
from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def plain(words: str) -> str:
    return words.replace("\xa0", " ")


def test_a_blind_count_is_read_twice_and_explained(shop: Workshop) -> None:
    """Of 1,000 g of wax 940 g are there; of 10 jars, which are as the books have them, all."""
    wax, jar = shop.material("Wax"), shop.material("Jar", measured_by="count")
    lot = shop.receive(wax, "1 kg", "20.00")
    jars = shop.receive(jar, "10 each", "5.00")
    client = signed_in(shop)
    assert "never counted" in shown(client.get("/counts"))
    page = done(client, "/counts", place="Cold room", blind="on")
    assert "0 / 2" in page
    assert "looked at yet · in the books" not in page
    path = re.findall(r"/counts/[0-9a-f-]{36}", client.get("/counts").content.decode())[0]
    found, gross, tare = (f"{name}_{lot.id}" for name in ("found", "gross", "tare"))
    empty = {found: "", gross: "", tare: "", f"found_{jars.id}": ""}
    assert "at least one lot" in refused(client, path, **empty)
    assert "go together" in refused(client, path, **{**empty, gross: "1000"})
    assert "more than the full one" in refused(client, path, **{**empty, gross: "5", tare: "9"})
    page = done(client, path, **{**empty, gross: "1000", tare: "60", f"found_{jars.id}": "10"})
    assert "read it once more" in page
    assert "apart by" not in page.split("Jar")[0]
    close = shown(client.get(f"{path}/close"))
    assert "First these are read once more" in close
    assert "Nothing has to be explained" not in close
    assert "Cold room" in client.get(f"{path}/sheet").content.decode()
    page = plain(done(client, path, **{**empty, found: "0.94 kg"}))
    assert "to be explained" in page
    assert "apart by -60 g" in page

    end, first, second = f"{path}/close", f"{lot.id}-0", f"{lot.id}-1"
    assert "explain" in refused(client, end)
    half = {f"{first}-cause": "spill", f"{first}-quantity": "20"}
    assert "Say how" in refused(client, end, **half)
    half[f"{first}-reason"] = "dropped"
    asked = client.post(end, {**half, "another": str(lot.id)}).content.decode()
    assert f'name="more" value="{lot.id}"' in asked
    assert f'name="{second}-cause"' in asked
    assert 'value="dropped"' in asked
    half["more"] = str(lot.id)
    wrong = {f"{second}-cause": "misbooked", f"{second}-reason": "x", f"{second}-batch": "none"}
    assert "No batch has this code" in refused(client, end, **half, **wrong)
    both = {**half, f"{second}-cause": "shrink", f"{second}-reason": "dried out"}
    page = plain(done(client, end, **both))
    assert "dropped: -20 g" in page
    assert "dried out: -40 g, 0.80 USD" in page
    assert "Keep what I found" not in page
    # Of two lots that were counted one lay within what is tolerated.
    assert "As in the books 1 50 %" in page
    listed = plain(shown(client.get("/counts")))
    assert "1 of 2 as in the books, 50 %" in listed
    assert "940 g" in plain(shown(client.get(f"/lots/{lot.id}")))


def test_a_sheet_of_one_lot_is_dropped(shop: Workshop) -> None:
    oil = shop.receive(shop.material("Oil"), "1 kg", "9.00")
    client = signed_in(shop)
    assert "the one lot" in shown(client.get(f"/counts?lot={oil.id}"))
    assert "No material" in refused(client, "/counts", material="Nothing like it")
    page = done(client, "/counts", lot=str(oil.id))
    assert "0 / 1" in page
    assert "not looked at yet · in the books 1 kg" in plain(page)
    assert "another open sheet" in refused(client, "/counts", lot=str(oil.id))
    path = re.findall(r"/counts/[0-9a-f-]{36}", client.get("/counts").content.decode())[0]
    assert "dropped" in done(client, path, do="drop", reason="begun too early")


def test_several_containers_of_a_lot_are_weighed_one_after_the_other(shop: Workshop) -> None:
    """1,250 and 980 g in cans of 250 and 230 g are 1,750 g; two of 60 g empty, 1,750 g as well."""
    lot = shop.receive(shop.material("Shea"), "1.75 kg", "30.00")
    client = signed_in(shop)
    found, gross, tare = (f"{name}_{lot.id}" for name in ("found", "gross", "tare"))
    for cans, empty in (("1250 + 980", "250+230"), ("940 g + 0.93 kg", "60")):
        done(client, "/counts", lot=str(lot.id))
        path = re.findall(r"/counts/[0-9a-f-]{36}", client.get("/counts").content.decode())[0]
        typed = {found: "", gross: cans, tare: empty}
        assert "a tare for each" in refused(client, path, **{**typed, tare: "1 + 2 + 3"})
        assert refused(client, path, **{**typed, gross: "1250 +"})
        page = plain(done(client, path, **typed))
        assert "found 1.75 kg" in page
        assert "agrees" in page
        done(client, path, do="drop", reason="counted once more")


def test_lots_beyond_those_of_the_page_are_explained_by_one_cause(shop: Workshop) -> None:
    """Of 100 g each, 40, 30 and 120 g are found: the first by itself, the others together."""
    clay = shop.material("Clay")
    lots = [shop.receive(clay, "100 g", "1.00") for _ in range(3)]
    client = signed_in(shop)
    done(client, "/counts", material="Clay")
    path = re.findall(r"/counts/[0-9a-f-]{36}", client.get("/counts").content.decode())[0]
    read = dict(zip((f"found_{lot.id}" for lot in lots), ("40", "30", "120"), strict=True))
    for _ in range(2):
        done(client, path, **read)
    with patch.object(count_closing, "LINES", 1):
        page = plain(shown(client.get(f"{path}/close")))
        assert "2 more lots that differ" in page
        first = {f"{lots[0].id}-0-cause": "spill", f"{lots[0].id}-0-reason": "dropped"}
        typed = {**first, "rest_cause": "shrink"}
        assert "Say how" in refused(client, f"{path}/close", **typed)
        assert "explain" in refused(client, f"{path}/close", **first)
        page = plain(done(client, f"{path}/close", **typed, rest_reason="nobody knows"))
    assert page.count("nobody knows: ") == 2
    for lot, left in zip(lots, ("40 g", "30 g", "120 g"), strict=True):
        assert left in plain(shown(client.get(f"/lots/{lot.id}")))
