"""What a recall says of each way in which some of a lot is gone: told through the API.

The amounts are an invented scenario; every figure was worked out by hand.
"""

import json
from decimal import Decimal
from typing import Any

from tests.api.client import Client
from tests.api.people import sql
from tests.running import Running
from tests.stories.test_scrap_and_rework import formula_of, started

D = Decimal
DAY = {"happened_at": "2025-05-02T09:00:00Z"}


def count(maker: Client, lot: str, counted: str, *causes: dict[str, Any]) -> None:
    """A lot counted twice, and its difference explained."""
    sheet = maker.post("counts", {"lots": [lot], "tolerance_percent": "1"}).made()
    readings = {"readings": [{"lot": lot, "quantity": counted}], **DAY}
    for _ in range(2):
        maker.post(f"counts/{sheet['id']}/readings", readings).made()
    body = {"explanations": [{"lot": lot, "causes": list(causes)}]}
    maker.post(f"counts/{sheet['id']}/close", body).made()


def places_of(lot: dict[str, Any]) -> dict[str, tuple[Decimal, bool]]:
    return {one["place"]: (D(one["quantity"]), one["explained"]) for one in lot["places"]}


def a_drum_that_dwindles(maker: Client) -> tuple[str, str]:
    """Of 10,000 g, 100 are spilt, 500 scrapped; 2,000 make 1,800 with 100 declared lost, where 3 %
    are normal; a count finds 300 less: 100 spilt, 50 evaporated, 150 that nobody can explain; the
    rest is drawn off as 4 and 3 kg, and 100 g stay in the drum."""
    kokum = maker.material("Garcinia Indica Seed Butter")
    drum = maker.receive(kokum, "10 kg", "100.00")
    lines = [{"lot": drum, "quantity": "100 g"}]
    maker.post("issues", {"lines": lines, "purpose": "spill", "reason": "a ladle", **DAY}).made()
    formula = formula_of(maker, "Kokum balm", kokum, process_loss_percent="3")
    balm = balm_in_jars(maker, formula, drum)
    burnt = started(maker, formula, "500 g", drum, "500 g")
    maker.post(f"batches/{burnt['id']}/scrap", {"reason": "burnt", **DAY}).made()
    count(
        *(maker, drum, "7100 g"),
        {"cause": "spill", "quantity": "100 g", "reason": "seen on the floor"},
        {"cause": "evaporation", "quantity": "50 g", "reason": "the lid was off"},
        {"cause": "shrink", "reason": "nothing else was found"},
    )
    draws = {"draws": [{"net": "4 kg"}, {"net": "3 kg"}], "emptied": True, **DAY}
    maker.post(f"lots/{drum}/decantings", draws).made()
    return drum, balm


def test_what_is_gone_has_a_cause_or_is_not_accounted_for(server: Running, maker: Client) -> None:
    drum, balm = a_drum_that_dwindles(maker)
    told = maker.get(f"lots/{drum}/recall-list").made()
    root, *made = told["lots"]
    assert places_of(root) == {
        "spill": (D(200), True),
        "scrap": (D(500), True),
        "evaporation": (D(50), True),
        "shrink": (D(150), False),
        "heel": (D(100), True),
    }
    assert [D(root[name]) for name in ("total", "used", "unexplained")] == [10000, 9000, 150]
    balance = {name: D(told["balance"][name]) for name in ("received", "accounted", "unexplained")}
    assert balance == {"received": D(10000), "accounted": D(9850), "unexplained": D(150)}
    assert_the_trace_says_so(maker, drum, root)
    found = {lot["lot"]: lot for lot in made}
    assert places_of(found[balm]) == {
        "in store": (D(700), True),
        "heel": (D(50), True),
        "reject": (D(20), True),
    }
    # 2,000 - 1,800 - 100 = 100 g: 60 as expected, 40 for no reason that anybody gave.
    loss = found[balm]["making_loss"]
    assert [D(loss[name]) for name in ("normal_grams", "beyond_grams", "declared_grams")] == [
        *(D(60), D(40), D(100)),
    ]
    assert loss["declared_reason"] == "boiled over"
    # The balm holds all of the 2,000 g that went into it, wherever it is.
    shares = [
        (lot["lot"] == balm or lot["unit"] == "each", D(place["of_recalled"]))
        for lot in made
        for place in lot["places"]
    ]
    assert sum(share for of_balm, share in shares if of_balm) == 2000
    assert sum(share for of_balm, share in shares if not of_balm) == 7000
    assert_an_older_record_says_what_it_said(server, maker, recorded(maker, drum))


def assert_the_trace_says_so(maker: Client, lot: str, listed: dict[str, Any]) -> None:
    """The same of the lot itself, and all of it: in places, or gone for no reason."""
    balance = maker.get(f"lots/{lot}/trace", direction="forward").made()["balance"]
    received, found, accounted, difference = (
        D(balance[name]) for name in ("received", "found", "accounted", "difference")
    )
    assert (received, found) == (D(listed["total"]), D(listed["found"]))
    assert difference == D(listed["unexplained"])
    assert received == accounted + difference
    places = {one["place"]: D(one["quantity"]) for one in balance["places"]}
    gone = {one["place"]: D(one["quantity"]) for one in balance["gone"]}
    assert (sum(places.values()), sum(gone.values())) == (accounted, difference)
    made = {name: places.pop(name) for name in list(places) if name.startswith("made into ")}
    assert sum(made.values()) == D(listed["used"])
    assert {name: (much, True) for name, much in places.items()} | {
        name: (much, False) for name, much in gone.items()
    } == places_of(listed)


def balm_in_jars(maker: Client, formula: str, drum: str) -> str:
    """1,800 g of 2,000, of which ten jars take 1,030 g, a heel 50 and a reject 20."""
    batch = started(maker, formula, "2 kg", drum, "2 kg")
    lost = {"quantity": "100 g", "reason": "boiled over"}
    body = {"output": "1800 g", "abnormal_loss": lost, "release": {"basis": "firm"}, **DAY}
    balm = maker.post(f"batches/{batch['id']}/finish", body).made()["lot"]["id"]
    jar = {"name": "Kokum jar", "formula": formula, "fill": {"nominal": "100 g"}, "packaging": []}
    fill = {
        "product": maker.post("products", jar).made()["id"],
        "lot": balm,
        "units": 10,
        "used": "1100 g",
        "heel": {"quantity": "50 g", "reason": "in the hopper"},
        "rejects": [{"quantity": "20 g", "reason": "the hose slipped"}],
        **DAY,
    }
    filled = maker.post("fills", fill).made()
    assert D(filled["reconciliation"]["unexplained"]) == 30
    return str(balm)


def recorded(maker: Client, drum: str) -> str:
    """A recall of it: and the maker that closes it is told what nobody can account for."""
    opened = maker.post("recalls", {"lot": drum, "reason": "smells of paint", **DAY}).made()
    page = maker.get(f"recalls/{opened['id']}").made()
    for told in (opened["progress"]["tally"], page["progress"]["tally"], page["listed"]["balance"]):
        assert [D(told[name]) for name in ("accounted", "unexplained")] == [9850, 150]
        assert told["shrink_accounted"] is False
    return str(opened["id"])


def assert_an_older_record_says_what_it_said(server: Running, maker: Client, recall: str) -> None:
    """As it was kept when nothing was marked as unexplained: then all of it was accounted for."""
    ((facts,),) = sql(server, "select listed from ledger_recall where id = %s", recall)
    for lot in facts["lots"]:
        lot["places"] = [place[:4] for place in lot["places"]]
    past_triggers = "set session_replication_role = replica;"
    sql(
        server,
        f"{past_triggers} update ledger_recall set listed = '{json.dumps(facts)}'"
        f" where id = '{recall}'",
    )
    told = maker.get(f"recalls/{recall}").made()
    then, now = told["listed"]["balance"], told["progress"]["tally"]
    assert [D(then[name]) for name in ("accounted", "unexplained")] == [10000, 0]
    assert [D(now[name]) for name in ("accounted", "unexplained")] == [9850, 150]
    assert (then["shrink_accounted"], now["shrink_accounted"]) == (True, False)
    assert all(explained for _, explained in places_of(told["listed"]["lots"][0]).values())


def test_what_a_count_finds_beside_is_part_of_the_lot(maker: Client) -> None:
    """1,000 g came, 1,100 lie there: 1,100 are found, of which 100 were in no book."""
    wax = maker.receive(maker.material("Cera Carnauba"), "1 kg", "20.00")
    count(maker, wax, "1100 g", {"cause": "found", "reason": "behind the shelf"})
    told = maker.get(f"lots/{wax}/recall-list").made()
    (root,) = told["lots"]
    assert [D(root[name]) for name in ("total", "found", "unexplained")] == [1100, 100, 0]
    assert places_of(root) == {"in store": (D(1100), True)}
    assert D(told["balance"]["unexplained"]) == 0
    assert D(told["balance"]["accounted"]) == 1100
    assert_the_trace_says_so(maker, wax, root)
