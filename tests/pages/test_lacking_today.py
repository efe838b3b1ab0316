"""What a planned batch lacks, on Today: it opens to its parts, is made here or bought."""

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from django.test import Client

from ledger.lots import decide
from ledger.models import Membership
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, in_role, shown, signed_in
from tests.pages.figures import opened
from tests.pages.test_today import said, under

NOW = datetime.now(UTC).date()


@pytest.fixture
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


def ways(client: Client) -> dict[str, str]:
    """Where each button of what cannot be made leads."""
    page = under(client.get("/").content.decode(), "Cannot be made yet").partition("<h2>")[0]
    found = re.findall(r'<a class="button" href="([^"]+)">([^<]+)</a>', page)
    return {name: unescape(to) for to, name in found}


def test_what_is_made_here_is_made_and_the_rest_is_bought_together(shop: Workshop) -> None:
    """By hand: 1 kg of tonic wants 300 g of a glycerite of which 100 g are there: 200 g lack, and a
    tenth of what goes into its pot is lost, so that 222.23 g are to go in."""
    glycerin, wax, oil = (shop.material(name) for name in ("Glycerin", "Wax", "Oil"))
    shop.receive(glycerin, "5 kg", "20.00")
    glycerite = shop.formula("Glycerite", [(glycerin, "100")], loss="10")
    shop.made_lot(glycerite, "100")
    tonic = shop.formula("Tonic", [(glycerite, "30"), (wax, "40"), (oil, "30")])
    batch = shop.plan(tonic, "1 kg", planned_for=NOW + timedelta(days=3)).batch
    client = signed_in(shop)
    assert "Lacking: 200 g Glycerite, 300 g Oil, 400 g Wax" in said(client)
    to = ways(client)
    assert list(to) == ["Make Glycerite", "What to buy", "Receive"]
    assert to["Make Glycerite"] == f"/batches/new?what=formula:{glycerite.formula_id}&grams=222.23"
    form = client.get(to["Make Glycerite"]).content.decode()
    assert f'<option value="formula:{glycerite.formula_id}" selected>' in form
    assert 'value="222.23 g"' in form
    form = client.get(to["Receive"]).content.decode()
    for place, name in enumerate(("Oil", "Wax")):
        assert re.search(rf'name="lines-{place}-material" value="{name}"', form), form
    assert 'name="lines-2-material"' not in form
    planned = {"what": f"formula:{glycerite.formula_id}", "size": "222.23 g"}
    assert "222.23" in done(client, "/batches/new", **planned, planned_for=str(NOW))
    assert "Make Glycerite" not in ways(client), "it is planned"
    bench = ways(client)["Weigh Glycerite"]
    assert "Glycerite" in shown(client.get(bench))
    assert bench != f"/batches/{batch.id}/bench"


def test_what_is_lacking_opens_to_what_is_wanted_weighed_and_promised(shop: Workshop) -> None:
    """By hand: 2 kg want 1500 g of oil, of which 600 + 300 are promised: 600 lack. Of the 600 there
    since, an earlier batch that lacks 200 takes these, so that 400 are there for this one."""
    oil, wax = shop.material("Oat oil"), shop.material("Wax")
    shop.receive(wax, "5 kg", "9.00")
    first, second = (shop.receive(oil, size, "9.00") for size in ("600 g", "300 g"))
    days = [NOW + timedelta(days=ahead) for ahead in (2, 4)]
    balm = shop.formula("Balm", [(oil, "75"), (wax, "25")])
    batch = shop.plan(balm, "2 kg", planned_for=days[1]).batch
    shop.plan(shop.formula("Oil alone", [(oil, "100")]), "200 g", planned_for=days[0])
    later = shop.receive(oil, "600 g", "9.00")
    client = signed_in(shop)
    page = under(client.get("/").content.decode(), "Cannot be made yet")
    found = [unescape(one) for one in re.findall(rf'href="(/batches/{batch.id}/lack[^"]+)"', page)]
    lack, there = (opened(client, one) for one in found)
    assert [one.exact for one in lack.parts] == [1500, -900]
    assert [one.exact for one in lack.parts[1].parts] == [-600, -300]
    assert lack.exact == D(600)
    assert lack.adds_up
    assert [one.exact for one in there.parts] == [600, -200]
    assert there.exact == D(400)
    assert there.adds_up
    assert later.code in shown(client.get(found[1]))
    assert f" {first.code} " not in shown(client.get(found[1]))
    assert second.code in shown(client.get(found[0]))
    page = client.get(f"/batches/{batch.id}").content.decode()
    assert f'href="/batches/{batch.id}/lack"' in page
    (whole,) = opened(client, f"/batches/{batch.id}/lack").parts
    assert (whole.name, whole.exact) == ("Oat oil", D(600))
    for wrong in (f"?material={wax.id}", "?material=oil"):
        assert client.get(f"/batches/{batch.id}/lack{wrong}").status_code == 404
    other = signed_in(open_workshop("Mill Bench", coop=shop.coop))
    assert other.get(found[0]).status_code == 404


def test_who_makes_nothing_is_offered_nothing_to_make(shop: Workshop) -> None:
    glycerin = shop.material("Glycerin")
    glycerite = shop.formula("Glycerite", [(glycerin, "100")])
    shop.plan(shop.formula("Tonic", [(glycerite, "100")]), "1 kg", planned_for=NOW)
    assert list(ways(signed_in(shop))) == ["Make Glycerite"]
    assert ways(in_role(shop, Membership.Role.READ_ONLY)) == {}


def test_a_lot_that_was_barred_since_is_lacking_until_another_is_chosen(shop: Workshop) -> None:
    """By hand: 1 kg wants 600 g of oil and 400 g of wax. All the oil that was promised is barred;
    500 g of other oil are there: 100 g are lacking beyond that."""
    oil, wax = shop.material("Oil"), shop.material("Wax")
    barred = shop.receive(oil, "600 g", "9.00")
    shop.receive(wax, "1 kg", "9.00")
    balm = shop.formula("Balm", [(oil, "60"), (wax, "40")])
    batch = shop.plan(balm, "1 kg", planned_for=NOW + timedelta(days=3)).batch
    client, path = signed_in(shop), f"/batches/{batch.id}"
    assert "may not be used now" not in shown(client.get(path))
    assert "Ready for the bench" in said(client)
    shop.does(decide, lot=barred.id, decision="hold", basis="it smells")
    for page in (path, f"{path}/bench"):
        assert f"may not be used now: {barred.code} Oil on hold" in shown(client.get(page))
    assert "Lacking: 600 g Oil" in said(client)
    assert "Ready for the bench" not in said(client)
    shop.receive(oil, "500 g", "9.00")
    assert "Lacking: 600 g Oil ( 500 g in store by now)" in said(client)
    page = under(client.get("/").content.decode(), "Cannot be made yet")
    lack = opened(client, unescape(re.findall(rf'href="({path}/lack[^"]+)"', page)[0]))
    assert (lack.exact, lack.adds_up) == (D(600), True)
    assert "may not be used now" not in done(client, path, do="choose")
    assert "Lacking: 100 g Oil" in said(client)


def test_pieces_that_were_barred_since_are_lacking_too(shop: Workshop) -> None:
    oil, jar = shop.material("Oil"), shop.material("Jar", measured_by="count")
    shop.receive(oil, "1 kg", "9.00")
    jars = shop.receive(jar, "10 pieces", "9.00")
    product = shop.product(shop.formula("Oil", [(oil, "100")]), "30 g", [(jar, "1 each")])
    path = f"/batches/{shop.plan(product, 10).batch.id}"
    client = signed_in(shop)
    shop.does(decide, lot=jars.id, decision="reject", basis="cracked")
    assert f"{jars.code} Jar rejected" in shown(client.get(path))
    assert "Lacking: 10 pieces Jar" in said(client)
