"""A count on its pages: blind, read twice, explained by its causes, closed; and one dropped."""

import re
from typing import Any

import pytest
from django.test import Client

from tests.factories import Workshop, open_workshop
from tests.pages.browsing import done, refused, shown, signed_in, typed_in


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def plain(words: str) -> str:
    return words.replace("\xa0", " ")


def closing(client: Client, path: str, **typed: Any) -> dict[str, Any]:
    """The form that closes a sheet, as it is shown now and with this typed in it."""
    return {**typed_in(client, path, "state"), **typed}


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
    assert "not both" in refused(client, path, **{**empty, found: "9", gross: "9", tare: "6"})
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
    assert "explain" in refused(client, end, **closing(client, end))
    half = closing(client, end, **{f"{first}-cause": "spill", f"{first}-quantity": "20"})
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


def test_of_many_containers_none_is_cut_off(shop: Workshop) -> None:
    """Twelve cans of 1,250.5 g, of 50.5 g each when they are empty: more than fits into a word."""
    lot = shop.receive(shop.material("Castor oil"), "14.4 kg", "90.00")
    client = signed_in(shop)
    done(client, "/counts", lot=str(lot.id))
    path = re.findall(r"/counts/[0-9a-f-]{36}", client.get("/counts").content.decode())[0]
    found, gross, tare = (f"{name}_{lot.id}" for name in ("found", "gross", "tare"))
    cans = " + ".join(["1250.5"] * 12)
    field = re.findall(rf'<input[^>]*name="{gross}"[^>]*>', client.get(path).content.decode())[0]
    room = re.search(r'maxlength="(\d+)"', field)
    assert room is None or int(room[1]) >= len(cans)
    many = " + ".join(["1250.5"] * 51)
    assert "At most 50" in refused(client, path, **{found: "", gross: many, tare: "50.5"})
    page = plain(done(client, path, **{found: "", gross: cans, tare: "50.5"}))
    assert "found 14.4 kg" in page
    assert "agrees" in page
    done(client, path, do="drop", reason="counted once more")
