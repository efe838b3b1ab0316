"""Retests, specifications, results out of specification, and holds that go through makings."""

from typing import Any

import pytest

from tests.api.client import Client


def made_of(maker: Client, lot: str, name: str, grams: str = "100") -> str:
    """A lot made of nothing else: so much of it is weighed in, and comes out."""
    material = maker.get(f"lots/{lot}").made()["material"]
    makes = [row["id"] for row in maker.listed("formulas") if row["material"] == material]
    named = {"formula": makes[0]} if makes else {"material": material}
    phases = [{"name": "A", "lines": [{**named, "percent": "100"}]}]
    formula = maker.post("formulas", {"name": name, "phases": phases}).made()
    batch = planned(maker, formula["id"], lot, grams)
    return str(finished(maker, batch, grams)["lot"]["id"])


def planned(maker: Client, formula: str, lot: str, grams: str) -> dict[str, Any]:
    """A batch into which a lot has been weighed."""
    body = {"formula": formula, "batch": f"{grams} g", "planned_for": "2025-05-06"}
    batch = maker.post("batches", body).made()
    weighing = {
        "line": batch["lines"][0]["id"],
        "lot": lot,
        "quantity": f"{grams} g",
        "happened_at": "2025-05-06T09:00:00Z",
    }
    maker.post(f"batches/{batch['id']}/weighings", weighing).made()
    return dict(batch)


def finished(maker: Client, batch: dict[str, Any], grams: str) -> dict[str, Any]:
    body = {
        "output": f"{grams} g",
        "happened_at": "2025-05-06T12:00:00Z",
        "release": {"basis": "looks right"},
    }
    return dict(maker.post(f"batches/{batch['id']}/finish", body).made())


def status(maker: Client, lot: str) -> str:
    return str(maker.get(f"lots/{lot}").made()["status"])


def decide(maker: Client, lot: str, decision: str, basis: str = "seen") -> dict[str, Any]:
    body = {"decision": decision, "basis": basis}
    return dict(maker.post(f"lots/{lot}/decisions", body).made())


def test_a_hold_goes_through_every_making_and_a_release_does_not(north: Client) -> None:
    """A herb, its extract, two lotions of the extract, one of them sold out."""
    herb = north.receive(north.material("Calendula Officinalis Flower"), "1 kg", "20.00")
    extract = made_of(north, herb, "Extract", "500")
    lotion, gone = (made_of(north, extract, name) for name in ("Lotion", "Sold lotion"))
    rework = made_of(north, lotion, "Rework", "40")
    other = north.receive(north.material("Kaolin"), "1 kg", "20.00")
    sold = {"lines": [{"lot": gone, "quantity": "100 g"}], "customer": "stall 4"}
    north.post("sales", {**sold, "happened_at": "2025-05-06T13:00:00Z"}).made()

    held = decide(north, herb, "hold", "moths in the sack")
    assert {one["lot"] for one in held["affected"]} == {extract, lotion, gone, rework}
    assert {one["lot"] for one in held["affected"] if one["decision"]} == {extract, lotion, rework}
    assert [status(north, lot) for lot in (herb, extract, lotion, rework)] == ["hold"] * 4
    assert [status(north, lot) for lot in (gone, other)] == ["released"] * 2
    why = north.get(f"lots/{rework}/decisions").made()["results"][0]
    code = north.get(f"lots/{herb}").made()["code"]
    assert why["cause"] == held["id"]
    assert code in why["basis"]
    assert "moths in the sack" in why["basis"]
    sold = {"lines": [{"lot": lotion, "quantity": "1 g"}], "customer": "stall 4"}
    refused = north.post("sales", {**sold, "happened_at": "2025-05-06T13:00:00Z"})
    refused.refused(409, "lot_not_released")

    freed = decide(north, herb, "release", "it was dust")
    assert {one["lot"] for one in freed["affected"] if one["held_for_it"]} == {
        extract,
        lotion,
        rework,
    }
    assert [status(north, lot) for lot in (herb, extract, lotion, rework)] == [
        "released",
        *["hold"] * 3,
    ]
    decide(north, extract, "release", "it was dust")
    again = decide(north, herb, "release", "still dust")
    assert {one["lot"] for one in again["affected"] if one["held_for_it"]} == {lotion, rework}


def test_what_is_rejected_stays_rejected_and_an_undone_making_is_not_followed(
    north: Client,
) -> None:
    root = north.receive(north.material("Shea"), "1 kg", "20.00")
    lotion = made_of(north, root, "Balm")
    decide(north, lotion, "reject")
    assert decide(north, root, "reject")["affected"][0]["decision"] is None
    assert status(north, lotion) == "rejected"
    other = north.receive(north.material("Cocoa"), "1 kg", "20.00")
    undone = made_of(north, other, "Undone")
    batches = north.listed("batches", state="finished")
    (batch,) = [
        one
        for one in (north.get(f"batches/{row['id']}").made() for row in batches[:3])
        if one["finished"]["lot"]["id"] == undone
    ]
    entry = batch["finished"]["entry"]
    north.post(f"entries/{entry}/reversal", {"reason": "the wrong pot"}).made()
    held = decide(north, other, "hold")
    assert (held["affected"], held["in_process"]) == ([], [batch["code"]])


def test_a_batch_that_has_some_of_it_makes_a_lot_on_hold(north: Client) -> None:
    lot = north.receive(north.material("Olive"), "1 kg", "20.00")
    material = north.get(f"lots/{lot}").made()["material"]
    lines = [{"material": material, "percent": "100"}]
    formula = north.post(
        "formulas", {"name": "Olive soap", "phases": [{"name": "A", "lines": lines}]}
    ).made()
    batch = planned(north, formula["id"], lot, "100")
    assert decide(north, lot, "hold")["in_process"] == [batch["code"]]
    made = finished(north, batch, "100")
    assert made["lot"]["status"] == "hold"
    assert status(north, made["lot"]["id"]) == "hold"
    (why,) = north.get(f"lots/{made['lot']['id']}/decisions", limit=1).made()["results"]
    assert why["cause"]


def retest(maker: Client, lot: str, **facts: Any) -> Any:
    body = {"tested_on": "2025-05-20", "result": "pass", "basis": "as new", **facts}
    return maker.post(f"lots/{lot}/retests", body)


def test_a_retest_date_moves_only_with_a_record(north: Client) -> None:
    material = north.material("Rosehip")
    lot = north.receive(material, "1 kg", "20.00", retest_on="2025-06-01", expires_on="2026-06-01")
    retest(north, lot, retest_on="2025-12-01").made()
    shown = north.get(f"lots/{lot}").made()
    assert (shown["retest_on"], shown["expires_on"]) == ("2025-12-01", "2026-06-01")
    for wrong in ("2025-12-01", "2025-11-30", "2026-06-02"):
        retest(north, lot, retest_on=wrong).refused(422, "invalid", "/retest_on")
    retest(north, lot).refused(422, "invalid", "/retest_on")
    retest(north, lot, retest_on="2026-01-01", tested_on="2199-01-01").refused(
        422, "invalid", "/tested_on"
    )
    extended = retest(north, lot, retest_on="2026-01-01", expires_on="2027-01-01")
    extended.refused(409, "expiry_stands", "/expires_on")
    body = {"decision": "release", "basis": "retested", "retest_on": "2026-01-01"}
    north.post(f"lots/{lot}/decisions", body).made()
    kept = north.listed(f"lots/{lot}/retests")
    assert [(one["retest_before"], one["retest_on"], one["tested_on"]) for one in kept] == [
        ("2025-12-01", "2026-01-01", None),
        ("2025-06-01", "2025-12-01", "2025-05-20"),
    ]
    failed = retest(north, lot, result="fail", basis="rancid").made()
    assert failed["decision"]["status"] == status(north, lot) == "hold"
    dated = north.receive(material, "1 kg", "20.00", expires_on="2026-06-01")
    retest(north, dated, retest_on="2027-01-01").refused(409, "expiry_stands")
    assert north.get(f"lots/{dated}").made()["expires_on"] == "2026-06-01"


def results(maker: Client, lot: str, *found: dict[str, Any]) -> Any:
    return maker.post(
        f"lots/{lot}/test-results", {"tested_on": "2025-05-07", "results": list(found)}
    )


def specify(maker: Client, material: str, *limits: dict[str, Any]) -> Any:
    return maker.post(f"materials/{material}/specifications", {"limits": list(limits)})


PH = {"name": "pH", "low": "5.0", "high": "6.5"}


def test_a_result_out_of_specification_holds_the_lot_and_what_was_made(north: Client) -> None:
    material = north.material("Aloe gel")
    lot = north.receive(material, "1 kg", "20.00")
    lotion = made_of(north, lot, "Aloe lotion")
    colour = {"name": "Colour", "text": "clear, pale yellow"}
    assert specify(north, material, PH, colour).made()["number"] == 1
    good = results(
        north,
        lot,
        {"name": "PH", "value": "6.5"},
        {"name": "Colour", "text": "Clear,  pale yellow"},
        {"name": "Smell", "text": "of little"},
    ).made()
    assert [one["inside"] for one in good["results"]] == [True, True, None]
    assert good["decision"] is None
    bad = results(north, lot, {"name": "pH", "value": "6.500001"}).made()
    assert bad["results"][0]["inside"] is False
    assert bad["decision"]["status"] == "hold"
    for part in ("6.500001", "5 to 6.5", "specification 1"):
        assert part in bad["decision"]["basis"]
    assert [status(north, one) for one in (lot, lotion)] == ["hold", "hold"]
    assert len(north.listed(f"lots/{lot}/test-results")) == 4
    wider = specify(north, material, {**PH, "high": "7"}).made()
    assert wider["number"] == 2
    assert results(north, lot, {"name": "pH", "value": "6.9"}).made()["decision"] is None
    assert [row["number"] for row in north.listed(f"materials/{material}/specifications")] == [2, 1]


@pytest.mark.parametrize(
    ("limit", "pointer"),
    [
        ({"name": "pH"}, "/limits/0"),
        ({"name": "pH", "low": "7", "high": "6"}, "/limits/0/low"),
        ({"name": "pH", "low": "7", "text": "neutral"}, "/limits/0"),
    ],
)
def test_limits_say_something(north: Client, limit: dict[str, Any], pointer: str) -> None:
    specify(north, north.material("Whey"), limit).refused(422, "invalid", pointer)


def test_a_result_is_told_as_it_is_asked_and_a_specification_is_the_makers_own(
    north: Client, mill: Client
) -> None:
    material = north.material("Milk")
    lot = north.receive(material, "1 kg", "20.00")
    specify(north, material, {**PH, "unit": "1"}, {"name": "Colour", "text": "white"}).made()
    assert mill.listed(f"materials/{material}/specifications") == []
    for found, place in (
        ({"name": "pH", "text": "fine"}, "value"),
        ({"name": "pH", "value": "6", "unit": "kg"}, "unit"),
        ({"name": "Colour", "value": "1"}, "text"),
        ({"name": "Other"}, ""),
    ):
        pointer = f"/results/0/{place}".rstrip("/")
        results(north, lot, found).refused(422, "invalid", pointer)
    assert north.listed(f"lots/{lot}/test-results") == []
    assert status(north, lot) == "released"
