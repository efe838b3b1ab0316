"""What is added to effect is enough when somebody says so, and until more of it goes in."""

from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import sql
from tests.factories import D

NOWHERE = "0198a7b0-0000-7000-8000-00000000ffff"


def scented(north: Client) -> tuple[dict[str, Any], str]:
    """A planned batch of oil and of scent to effect, and the lot of the scent."""
    oil, scent = north.material("Oil to be scented"), north.material("Scent to effect")
    north.receive(oil, "2 kg", "18.00")
    lot = north.receive(scent, "100 g", "12.00")
    typical = {"typical_percent": "1", "max_percent": "2"}
    lines = [{"material": oil, "percent": "99"}, {"material": scent, "to_effect": typical}]
    formula = {"name": "Scented oil", "phases": [{"name": "A", "lines": lines}]}
    made = north.post("formulas", formula).made()["id"]
    planned = {"formula": made, "batch": "1 kg", "planned_for": "2025-05-06"}
    return north.post("batches", planned).made(), lot


def added(north: Client, batch: dict[str, Any], lot: str, grams: str) -> dict[str, Any]:
    body = {"line": batch["lines"][1]["id"], "lot": lot, "quantity": grams}
    return dict(north.post(f"batches/{batch['id']}/weighings", body).made())


def test_it_is_enough_until_more_goes_in(coop: Coop, north: Client, mill: Client) -> None:
    batch, lot = scented(north)
    path, line = f"batches/{batch['id']}/enough", batch["lines"][1]["id"]
    assert batch["lines"][1]["enough"] is None
    said = {"line": line, "enough": True}
    early = north.post(path, said).refused(409, "conflict")
    assert "Nothing of it is in yet" in early["detail"]
    first = added(north, batch, lot, "8 g")
    word = north.post(path, said).made()
    assert (word["line"], word["enough"], word["grams"]) == (line, True, "8.000000")
    kept = north.get(f"batches/{batch['id']}").made()["lines"]
    assert kept[0]["enough"] is None
    assert {**kept[1]["enough"], "line": line, "enough": True} == word
    north.post(path, said).refused(409, "conflict")
    # A little more: what was found enough is not what is in now, until that is found enough too.
    more = added(north, batch, lot, "2 g")
    assert north.get(f"batches/{batch['id']}").made()["lines"][1]["enough"] is None
    north.post(path, {**said, "enough": False}).refused(409, "conflict")
    assert D(north.post(path, said).made()["grams"]) == 10
    taken = north.post(path, {**said, "enough": False}).made()
    assert (taken["enough"], taken["grams"]) == (False, "10.000000")
    assert north.get(f"batches/{batch['id']}").made()["lines"][1]["enough"] is None
    north.post(path, said).made()
    undone = {"reason": "the wrong jar"}
    for weighing in (more, first):
        north.post(f"entries/{weighing['entry']}/reversal", undone).made()
        assert north.get(f"batches/{batch['id']}").made()["lines"][1]["enough"] is None
    mill.post(path, said).refused(404, "not_found")


def test_only_what_is_added_to_effect_is_enough(coop: Coop, north: Client) -> None:
    batch, lot = scented(north)
    path = f"batches/{batch['id']}/enough"
    fixed = {"line": batch["lines"][0]["id"], "enough": True}
    north.post(path, fixed).refused(422, "invalid", "/line")
    north.post(path, {**fixed, "line": NOWHERE}).refused(422, "not_found", "/line")
    added(north, batch, lot, "8 g")
    # What the database says by itself, whoever asks.
    with pytest.raises(Exception, match="added to effect"):
        sql(
            coop.server,
            "insert into formulas_enough (coop_id, id, maker_id, line_id, enough, grams, said_at,"
            " person_id) select l.coop_id, gen_random_uuid(), l.maker_id, l.id, true, 1, now(),"
            " b.person_id from formulas_batchline l join formulas_batch b on b.id = l.batch_id"
            " where l.id = %s",
            fixed["line"],
        )
    north.post(f"batches/{batch['id']}/cancellation", {"reason": "not today"}).made()
    late = {"line": batch["lines"][1]["id"], "enough": True}
    north.post(path, late).refused(409, "already_finished")
