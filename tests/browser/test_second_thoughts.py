"""What is thought better of: refused, taken back, dropped; and what is settled for all, for good.

In a co-op of its own, whose books are closed by it.
"""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.client import Client, Coop, open_coop, sign_in
from tests.api.files import pdf
from tests.browser.benches import balm, batch_of
from tests.browser.visiting import Visit, assert_fits, go, send
from tests.running import Running


@pytest.fixture(scope="module")
def calm(server: Running) -> Coop:
    return open_coop(server, "Calm Bench", "Near Bench", "Far Bench")


@pytest.fixture(scope="module")
def ids(calm: Coop) -> dict[str, str]:
    """Of the makers, by their names."""
    return {one["name"]: one["id"] for one in calm["Calm Bench"].listed("makers")}


@pytest.fixture
def page(browser: Browser, calm: Coop) -> Iterator[Page]:
    with Visit(browser, calm["Calm Bench"]) as visit:
        yield visit.page


def offered(giver: Client, to: str, lot: str, **more: str) -> str:
    """A kilogram of a lot, offered to another maker."""
    body = {"maker": to, "lot": lot, "quantity": "1 kg", **more}
    return str(giver.post("transfers", body).made()["id"])


def test_between_makers(browser: Browser, page: Page, calm: Coop, ids: dict[str, str]) -> None:
    giver, taker = calm["Calm Bench"], calm["Near Bench"]
    lot = giver.receive(giver.material("Fennel oil"), "10 kg", "100.00")
    share = giver.post("shares", {"lot": lot, "price": "20.00"}).made()["id"]
    claims = [
        taker.post(f"shares/{share}/claims", {"quantity": "1 kg"}).made()["id"] for _ in range(2)
    ]
    offers = [offered(giver, ids["Near Bench"], lot) for _ in range(2)]
    with Visit(browser, taker) as visit:
        go(visit.page, f"/claims/{claims[0]}")
        send(visit.page, "Take it back", "found some", {"reason": "found some"})
        go(visit.page, f"/transfers/{offers[0]}")
        send(visit.page, "No", "too dear", {"reason": "too dear"})
    go(page, f"/claims/{claims[1]}")
    send(page, "No", "promised already", {"reason": "promised already"})
    go(page, f"/transfers/{offers[1]}")
    send(page, "Take it back", "the wrong lot", {"reason": "the wrong lot"})
    go(page, f"/shares/{share}")
    send(page, "Close it", "What you share", {"reason": "kept for winter"})
    assert giver.get(f"lots/{lot}").made()["on_hand"]["grams"] == "10000.000000"


def test_what_went_out_comes_back(page: Page, calm: Coop) -> None:
    maker = calm["Calm Bench"]
    lot = maker.receive(maker.material("Fennel soap", measured_by="count"), "20 each", "40.00")
    out = {"lines": [{"lot": lot, "quantity": "5 each"}]}
    maker.post("sales", {**out, "customer": "A stall"}).made()
    maker.post("consignments", {**out, "shop": "Pier"}).made()
    go(page, f"/lots/{lot}/out")
    send(page, "It is back", "the wrong colour", {"reason": "the wrong colour", "quantity": "2"})
    go(page, f"/lots/{lot}/shops")
    back = {"then": "back", "quantity": "1 each", "reason": "it was dented"}
    send(page, "Keep it", r"4\s*pieces", back)
    go(page, f"/lots/{lot}")
    page.locator("[name=file]").set_input_files(
        {"name": "photo.pdf", "mimeType": "application/pdf", "buffer": pdf(lot)}
    )
    send(page, "Keep it", "photo.pdf")
    sheet = maker.post("counts", {"lots": [lot]}).made()["id"]
    go(page, f"/counts/{sheet}")
    send(page, "Drop it: nothing moves", "dropped", {"reason": "the wrong shelf"})
    assert maker.get(f"lots/{lot}").made()["on_hand"]["count"] == "13"


def test_at_the_bench(page: Page, calm: Coop) -> None:
    """A drop that no formula lists, some of it back, and a scent that was not enough after all."""
    maker = calm["Calm Bench"]
    batch = batch_of(maker, balm(maker))
    for line, grams in zip(batch["lines"], ("800 g", "190 g", "5 g"), strict=True):
        weighing = {"line": line["id"], "lot": line["picks"][0]["lot"], "quantity": grams}
        maker.post(f"batches/{batch['id']}/weighings", weighing).made()
    lot = maker.receive(maker.material("Vitamin E"), "1 kg", "90.00")
    code = maker.get(f"lots/{lot}").made()["code"]
    scent = f"/batches/{batch['id']}/bench?line={batch['lines'][2]['id']}"
    go(page, scent)
    send(page, "That is enough", "All of it is in")
    go(page, scent)
    send(page, "It is not enough after all", "That is enough")
    drop = {"add-lot": code, "add-quantity": "3", "add-reason": "it keeps longer"}
    send(page, "It is in", rf"3\s*g of {code}", drop)
    less = {"back-lot": code, "back-quantity": "1", "back-reason": "a drop too much"}
    send(page, "It is back", rf"1\s*g of {code}", less)
    assert maker.get(f"lots/{lot}").made()["on_hand"]["grams"] == "998.000000"


def test_settled_for_all_and_closed_for_good(
    browser: Browser, page: Page, calm: Coop, ids: dict[str, str]
) -> None:
    """One owes to the second what this owes to the third: it is paid by the first to the third."""
    for giver, taker in (("Calm Bench", "Near Bench"), ("Far Bench", "Calm Bench")):
        maker = calm[giver]
        lot = maker.receive(maker.material(f"Seed of {giver}"), "10 kg", "100.00")
        offer = offered(maker, ids[taker], lot, price="12.00")
        calm[taker].post(f"transfers/{offer}/acceptance", {}).made()
    go(page, "/settlement")
    paid = {
        "direction": "received",
        "maker": ids["Near Bench"],
        "amount": "5.00",
        "note": "in coins",
    }
    send(page, "Write it down", "You are owed less", paid)
    send(page, "Take the payment back", "an earlier one", {"reason": "it was another's"})
    token = sign_in(calm.server, calm.coordinator).made()["token"]
    with Visit(browser, Client(calm.server.port, token)) as visit:
        look = visit.page
        go(look, "/settlement")
        send(look, "Name it", r"the co-op's store\s*owes", {"maker": ids["Near Bench"]})
        send(look, "Clear it so", "end of the month", {"note": "end of the month"})
    go(page, "/settlement")
    expect(page.locator("main")).to_contain_text("Nothing for you to pay.")
    assert_fits(page)
    may = {"closed_on": "2025-05-31"}
    send(page, "Close it for good", "cannot be undone. Are your books", may)
    send(page, "Close it for good", "closed up to", {"sure": "on"})
