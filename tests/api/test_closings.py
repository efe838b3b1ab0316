"""A closed period stays as it was told: whatever comes to light later is a new entry."""

import pytest

from tests.api.client import Coop, open_coop
from tests.api.people import maker_id, member
from tests.running import Running

MAY, JUNE = {"happened_at": "2025-05-31T12:00:00Z"}, {"happened_at": "2025-06-01T00:00:00Z"}


@pytest.fixture(scope="module")
def coop(server: Running) -> Coop:
    return open_coop(server, "Closing Bench", "Open Bench")


def test_nothing_happens_in_a_closed_period(coop: Coop) -> None:
    closing, still_open = coop["Closing Bench"], coop["Open Bench"]
    lot = closing.receive(closing.material("Cetyl alcohol"), "1 kg", "10.00")
    to = {"maker": str(maker_id(coop, "Open Bench")), "lot": lot, "quantity": "100 g"}
    offer = closing.post("transfers", {**to, "happened_at": "2025-05-02T09:00:00Z"}).made()["id"]
    books = member(coop, "Closing Bench", "books")
    made = books.post("closings", {"closed_on": "2025-05-31", "note": "May"}).made()
    assert closing.get("closings").made()["results"] == [made]
    taken = {"lines": [{"lot": lot, "quantity": "1 g"}], "purpose": "gift", "reason": "open day"}
    told = closing.post("issues", {**taken, **MAY}).refused(422, "invalid", "/happened_at")
    assert "2025-05-31" in told["detail"]
    closing.post("issues", {**taken, **JUNE}).made()
    # The other's books are open; what stands in both waits for the later day all the same.
    still_open.post(f"transfers/{offer}/acceptance", MAY).refused(409, "conflict")
    still_open.post(f"transfers/{offer}/acceptance", JUNE).made()
    paid = {
        "maker": str(maker_id(coop, "Closing Bench")),
        "direction": "paid",
        "amount": "1.00",
        "note": "cash",
    }
    still_open.post("payments", {**paid, **MAY}).refused(409, "conflict")
    payment = still_open.post("payments", {**paid, **JUNE}).made()
    may = closing.get("settlement/statement", month="2025-05").made()
    june = closing.get("settlement/statement", month="2025-06").made()
    assert (may["closed"], may["results"]) == (True, [])
    assert (june["closed"], len(june["results"])) == (False, 2)
    closing.post("closings", {"closed_on": "2025-06-30"}).made()
    # A mistake of June is undone by an entry of today.
    undone = closing.post(f"movements/{payment['id']}/reversal", {"reason": "not cash"}).made()
    assert undone["on"] > "2025-06-30"
    assert closing.get("settlement/statement", month="2025-06").made()["closing"] == "0.00"


def test_books_are_closed_forwards_and_up_to_a_day_that_is_over(coop: Coop) -> None:
    maker = coop["Open Bench"]
    maker.post("closings", {"closed_on": "2199-01-01"}).refused(422, "invalid", "/closed_on")
    maker.post("closings", {"closed_on": "2025-03-31"}).made()
    for day in ("2025-03-31", "2025-02-28"):
        maker.post("closings", {"closed_on": day}).refused(422, "invalid", "/closed_on")
    bench = member(coop, "Open Bench", "bench")
    bench.post("closings", {"closed_on": "2025-04-30"}).refused(403, "forbidden")
