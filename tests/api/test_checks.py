"""What is looked at before, during and after a batch; and the tests of a source."""

from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import member, sql

DAY = "2025-05-06"


@pytest.fixture(scope="module")
def second(coop: Coop) -> Client:
    """Somebody else at the same bench."""
    return member(coop, "North Bench", "bench")


def finished(north: Client) -> dict[str, Any]:
    """A batch of one oil, weighed and finished by the owner."""
    oil = north.material("Olive oil of a checked batch")
    lot = north.receive(oil, "2 kg", "18.00")
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    formula = north.post("formulas", {"name": "Checked oil", "phases": phases}).made()["id"]
    planned = {"formula": formula, "batch": "1 kg", "planned_for": DAY}
    batch: dict[str, Any] = north.post("batches", planned).made()
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "1 kg"}
    at = {"happened_at": f"{DAY}T09:00:00Z"}
    north.post(f"batches/{batch['id']}/weighings", {**weighing, **at}).made()
    return batch


def test_checks_are_signed_and_kept(north: Client, second: Client, coop: Coop) -> None:
    batch = finished(north)
    path = f"batches/{batch['id']}/checks"
    kettle = {"kind": "equipment", "subject": "kettle 2", "result": "pass"}
    signed = north.post(path, kettle).made()
    assert (signed["subject"], signed["result"]) == ("kettle 2", "pass")
    failed = {"kind": "start_up", "result": "fail"}
    north.post(path, failed).refused(422, "invalid", "/note")
    north.post(path, {**failed, "note": "the bench was wet"}).made()
    north.post(path, {**kettle, "kind": "mood"}).refused(422, "invalid_choice", "/kind")
    north.post(path, {**kettle, "happened_at": "2030-01-01T00:00:00Z"}).refused(
        422, "invalid", "/happened_at"
    )
    approval = {"kind": "approval", "result": "pass"}
    early = second.post(path, approval).refused(409, "conflict")
    assert "finish it first" in early["detail"]
    done = {"output": "990 g", "happened_at": f"{DAY}T12:00:00Z"}
    north.post(f"batches/{batch['id']}/finish", done).made()
    own = north.post(path, approval).refused(409, "conflict")
    assert "somebody else" in own["detail"]
    second.post(path, approval).made()
    kept = north.get(path).made()["results"]
    assert [one["kind"] for one in kept] == ["approval", "start_up", "equipment"]
    # What the database says by itself, whoever asks.
    with pytest.raises(Exception, match="does not approve"):
        sql(
            coop.server,
            "insert into formulas_batchcheck (coop_id, id, maker_id, batch_id, kind, subject,"
            " passed, note, happened_at, person_id) select coop_id, gen_random_uuid(), maker_id,"
            " batch_id, 'approval', '', true, '', now(), person_id from formulas_weighing"
            " where batch_id = %s",
            batch["id"],
        )
    with pytest.raises(Exception, match="failed_check_says_why"):
        sql(
            coop.server,
            "insert into formulas_batchcheck (coop_id, id, maker_id, batch_id, kind, subject,"
            " passed, note, happened_at, person_id) select coop_id, gen_random_uuid(), maker_id,"
            " batch_id, 'equipment', '', false, '', now(), person_id from formulas_batchcheck"
            " where id = %s",
            signed["id"],
        )


def test_a_source_is_tested(north: Client, mill: Client) -> None:
    body = {"name": "Aqua of a tap", "measured_by": "mass", "stocked": False}
    water = north.post("materials", body).made()["id"]
    path = f"materials/{water}/source-tests"
    test = {"drawn_from": "tap, after the filter", "tested_on": DAY, "found": "12 per mL"}
    kept = north.post(path, {**test, "result": "pass"}).made()
    assert (kept["drawn_from"], kept["found"]) == ("tap, after the filter", "12 per mL")
    later = {**test, "tested_on": "2025-06-06", "found": "900 per mL", "result": "fail"}
    north.post(path, later).made()
    assert [one["result"] for one in north.get(path).made()["results"]] == ["fail", "pass"]
    # The water is the co-op's, what a maker found in its own tap is not.
    assert mill.get(path).made()["results"] == []
    north.post(path, {**test, "tested_on": "2999-01-01", "result": "pass"}).refused(
        422, "invalid", "/tested_on"
    )
    oil = north.material("Olive oil of no source")
    refused = north.post(f"materials/{oil}/source-tests", {**test, "result": "pass"})
    assert "keep the test with its lot" in refused.refused(422, "invalid", "/material")["detail"]
