"""A second person has looked at a weighing: once, and never whoever weighed."""

from typing import Any

import pytest

from ledger.roles import MAY
from tests.api.client import Client, Coop
from tests.api.people import member, sql
from tests.factories import D

NOWHERE = "0198a7b0-0000-7000-8000-00000000ffff"


@pytest.fixture(scope="module")
def helper(coop: Coop) -> Client:
    """Somebody else at the same bench."""
    assert "bench" in MAY
    return member(coop, "North Bench", "bench")


def weighed(north: Client) -> tuple[dict[str, Any], dict[str, Any]]:
    """A batch of one line, and its only weighing."""
    oil = north.material("Olive oil of a second look")
    lot = north.receive(oil, "2 kg", "18.00")
    lines = [{"material": oil, "percent": "100"}]
    formula = {"name": "Oil of a second look", "phases": [{"name": "A", "lines": lines}]}
    made = north.post("formulas", formula).made()["id"]
    planned = {"formula": made, "batch": "1 kg", "planned_for": "2025-05-06"}
    batch = north.post("batches", planned).made()
    body = {
        "line": batch["lines"][0]["id"],
        "lot": lot,
        "quantity": "1 kg",
        "happened_at": "2025-05-06T09:00:00Z",
    }
    return batch, north.post(f"batches/{batch['id']}/weighings", body).made()


def test_a_second_person_looks(coop: Coop, north: Client, helper: Client) -> None:
    batch, weighing = weighed(north)
    assert weighing["second_look"] is None
    path, sent = f"batches/{batch['id']}/second-looks", {"weighing": weighing["id"]}
    own = north.post(path, sent).refused(409, "conflict")
    assert "somebody else" in own["detail"]
    look = helper.post(path, {**sent, "note": "jar and scale seen"}).made()
    assert look["weighing"] == weighing["id"]
    assert look["person"] != weighing["person"]
    (kept,) = north.get(f"batches/{batch['id']}").made()["weighings"]
    assert kept["second_look"] == look["person"]
    assert D(kept["quantity"]["grams"]) == 1000
    helper.post(path, sent).refused(409, "conflict")
    helper.post(path, {**sent, "seen": True}).refused(422, "unknown_field", "/seen")
    # What the database says by itself, whoever asks.
    with pytest.raises(Exception, match="does not look a second time"):
        sql(
            coop.server,
            "insert into formulas_secondlook (coop_id, id, maker_id, weighing_id, note, looked_at,"
            " person_id) select coop_id, gen_random_uuid(), maker_id, id, '', now(), person_id"
            " from formulas_weighing where id = %s",
            weighing["id"],
        )


def test_what_is_not_there_is_not_looked_at(north: Client, mill: Client, helper: Client) -> None:
    batch, weighing = weighed(north)
    path, sent = f"batches/{batch['id']}/second-looks", {"weighing": weighing["id"]}
    mill.post(path, sent).refused(404, "not_found")
    helper.post(path, {"weighing": NOWHERE}).refused(422, "not_found", "/weighing")
    undone = {"reason": "another jar was meant"}
    north.post(f"entries/{weighing['entry']}/reversal", undone).made()
    helper.post(path, sent).refused(422, "not_found", "/weighing")


def test_how_a_delivery_arrived_is_kept(north: Client) -> None:
    line = {
        "material": north.material("Shea butter of a warm van"),
        "supplier_lot": "S-1",
        "quantity": "5 kg",
        "price": "60.00",
    }
    body = {"supplier": north.supplier(), "condition": "seals whole, 31 °C", "lines": [line]}
    receipt = north.post("receipts", body).made()
    assert receipt["condition"] == "seals whole, 31 °C"
    assert north.get(f"receipts/{receipt['id']}").made()["condition"] == "seals whole, 31 °C"
