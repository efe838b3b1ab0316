"""A count through HTTP: the drum that holds less than the books say, and why.

The figures are an invented scenario of a maker's everyday work, worked out by hand.
"""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import member

D = Decimal
AT = "2025-05-07T10:00:00Z"
DRUM = [{"gross": "14060 g", "tare": "1850 g"}]


def cents(amount: str) -> Decimal:
    return D(amount).quantize(D("0.01"))


def drum_with_ladles(maker: Client) -> tuple[str, str, dict[str, Any]]:
    """4 gal at $220.28 ($11.5460/kg); four ladles booked as 200 g; 12,480 g are left in the books.

    The lot, its material, and the batch that the ladles went into.
    """
    glycerin = maker.material("Glycerin", density="1.26 g/mL")
    lot = maker.receive(glycerin, "4 gal", "220.28")
    whole = D(maker.get(f"lots/{lot}").made()["on_hand"]["grams"])
    lines = [{"material": glycerin, "percent": "100"}]
    formula = maker.post(
        "formulas", {"name": "Ladled", "phases": [{"name": "A", "lines": lines}]}
    ).made()
    batch = maker.post(
        "batches", {"formula": formula["id"], "batch": "800 g", "planned_for": "2025-05-06"}
    ).made()
    for _ in range(4):
        body = {
            "line": batch["lines"][0]["id"],
            "lot": lot,
            "quantity": "200 g",
            "happened_at": "2025-05-06T09:00:00Z",
        }
        maker.post(f"batches/{batch['id']}/weighings", body).made()
    sold = {
        "lines": [{"lot": lot, "quantity": f"{whole - 800 - 12480} g"}],
        "customer": "stall 4",
        "happened_at": "2025-05-06T12:00:00Z",
    }
    maker.post("sales", sold).made()
    return lot, glycerin, batch


def open_count(maker: Client, lot: str, **facts: Any) -> dict[str, Any]:
    return dict(maker.post("counts", {"lots": [lot], "tolerance_percent": "2", **facts}).made())


def read(maker: Client, sheet: dict[str, Any], lot: str, **facts: Any) -> dict[str, Any]:
    """The line after one more reading."""
    reading = {"lot": lot, **(facts or {"containers": DRUM})}
    body = {"happened_at": AT, "readings": [reading]}
    (line,) = maker.post(f"counts/{sheet['id']}/readings", body).made()["lines"]
    return dict(line)


def ladles(batch: dict[str, Any]) -> dict[str, Any]:
    return {
        "cause": "misbooked",
        "batch": batch["id"],
        "booked": "800 g",
        "really": "800 mL",
        "reason": "four ladles of 200 mL, booked as 200 g each",
    }


SHRINK = {"cause": "shrink", "reason": "nothing else was found"}


def close(maker: Client, sheet: dict[str, Any], lot: str, *causes: dict[str, Any]) -> Any:
    body = {"explanations": [{"lot": lot, "causes": list(causes)}]}
    return maker.post(f"counts/{sheet['id']}/close", body)


def test_a_difference_is_read_again_and_explained_to_the_cent(north: Client) -> None:
    """12,210 g against 12,480 g: -270 g, -2.16 %, tolerance 249.6 g. 208 g belong to the batch
    ($2.40 at $11.5460/kg) and 62 g shrank ($0.72)."""
    lot, _, batch = drum_with_ladles(north)
    sheet = open_count(north, lot, place="by the window")
    line = read(north, sheet, lot)
    assert {name: D(line[name]) for name in ("book", "counted", "difference", "tolerance")} == {
        "book": D(12480),
        "counted": D(12210),
        "difference": D(-270),
        "tolerance": D("249.6"),
    }
    assert (line["difference_percent"], line["within"], line["asks"]) == ("-2.16", False, "recount")
    close(north, sheet, lot, ladles(batch), SHRINK).refused(409, "recount_needed")
    line = read(north, sheet, lot)
    assert (line["readings"], line["asks"]) == (2, "explanation")

    closed = close(north, sheet, lot, ladles(batch), SHRINK).made()
    assert closed["state"] == "closed"
    assert closed["accuracy"] == {"counted": 1, "within": 0, "percent": "0.00"}
    ladled, shrunk = closed["lines"][0]["causes"]
    assert (D(ladled["quantity"]), cents(ladled["value"])) == (D(-208), D("2.40"))
    assert (ladled["batch_code"], ladled["cost_difference"]) == (batch["code"], "2.40")
    assert (D(shrunk["quantity"]), cents(shrunk["value"])) == (D(-62), D("0.72"))
    assert D(north.get(f"lots/{lot}").made()["on_hand"]["grams"]) == 12210
    shown = north.get(f"batches/{batch['id']}").made()
    assert sum(D(one["quantity"]["grams"]) for one in shown["weighings"]) == 1008
    balance = north.get(f"lots/{lot}/trace", direction="forward").made()["balance"]
    assert D(balance["difference"]) == 62
    assert [(one["place"], D(one["quantity"])) for one in balance["gone"]] == [("shrink", D(62))]
    assert "shrink" not in {one["place"] for one in balance["places"]}
    # The batch carries what really went in: 1,008 g at $11.5460 are $11.64.
    body = {"output": "1008 g", "happened_at": "2025-05-07T15:00:00Z"}
    finished = north.post(f"batches/{batch['id']}/finish", body).made()
    assert cents(finished["cost"]["materials"]) == D("11.64")


def test_a_finished_batch_keeps_its_cost_and_the_difference_names_it(north: Client) -> None:
    lot, _, batch = drum_with_ladles(north)
    body = {"output": "800 g", "happened_at": "2025-05-06T15:00:00Z"}
    cost = north.post(f"batches/{batch['id']}/finish", body).made()["cost"]
    sheet = open_count(north, lot)
    read(north, sheet, lot)
    read(north, sheet, lot)
    ladled, _ = close(north, sheet, lot, ladles(batch), SHRINK).made()["lines"][0]["causes"]
    assert (ladled["batch"], ladled["cost_difference"]) == (batch["id"], "2.40")
    shown = north.get(f"batches/{batch['id']}", explain=1).made()
    assert shown["finished"]["cost"] == cost
    (later,) = shown["later_counts"]["counts"]
    assert (shown["later_counts"]["total"], later["amount"]) == ("2.40", "2.40")
    assert (later["lot"], later["entry"]) == (lot, ladled["entry"])
    assert D(later["quantity"]) == 208
    (told,) = [one for one in shown["working"]["parts"] if one["name"] == "count differences"]
    assert cents(told["amount"]) == D("2.40")
    entry = north.get(f"entries/{ladled['entry']}").made()
    assert entry["kind"] == "count"
    balance = north.get(f"lots/{lot}/trace", direction="forward").made()["balance"]
    places = {place["place"]: D(place["quantity"]) for place in balance["places"]}
    assert places[f"cost difference of {batch['code']}"] == 208
    assert D(balance["difference"]) == 62


def test_a_reading_is_judged_on_the_books_of_its_moment(north: Client) -> None:
    """What was drawn after the scale was read changes nothing; what was drawn before it does."""
    lot, _, batch = drum_with_ladles(north)
    sheet = open_count(north, lot)
    read(north, sheet, lot)
    read(north, sheet, lot)
    later = {"lines": [{"lot": lot, "quantity": "1000 g"}], "purpose": "gift", "reason": "open day"}
    north.post("issues", {**later, "happened_at": "2025-05-07T11:00:00Z"}).made()
    line = north.get(f"counts/{sheet['id']}").made()["lines"][0]
    assert D(line["difference"]) == -270
    earlier = {**later, "lines": [{"lot": lot, "quantity": "5 g"}]}
    north.post("issues", {**earlier, "happened_at": "2025-05-07T09:00:00Z"}).made()
    refused = close(north, sheet, lot, ladles(batch), SHRINK).refused(409, "count_overtaken")
    assert D(refused["book"]) == 12475
    line = read(north, sheet, lot)
    assert D(line["difference"]) == -265
    made = close(north, sheet, lot, ladles(batch), SHRINK).made()
    assert [D(one["quantity"]) for one in made["lines"][0]["causes"]] == [D(-208), D(-57)]
    assert D(north.get(f"lots/{lot}").made()["on_hand"]["grams"]) == 11210


def test_what_is_found_comes_in_at_what_the_books_say_a_gram_costs(north: Client) -> None:
    lot = north.receive(north.material("Kaolin"), "1 kg", "20.00")
    sheet = open_count(north, lot)
    line = read(north, sheet, lot, quantity="1.1 kg")
    assert D(line["difference"]) == 100
    read(north, sheet, lot, quantity="1.1 kg")
    wrong = {"cause": "evaporation", "reason": "it was warm"}
    close(north, sheet, lot, wrong).refused(422, "invalid", "/explanations/0/causes/0/cause")
    found = {"cause": "found", "reason": "a second bag stood behind the first"}
    (cause,) = close(north, sheet, lot, found).made()["lines"][0]["causes"]
    assert (D(cause["quantity"]), cause["value"]) == (D(100), "2.00")
    shown = north.get(f"lots/{lot}").made()
    assert (D(shown["on_hand"]["grams"]), D(shown["value"])) == (D(1100), D(22))
    undone = north.post(f"entries/{cause['entry']}/reversal", {"reason": "it was another's bag"})
    undone.made()
    assert D(north.get(f"lots/{lot}").made()["on_hand"]["grams"]) == 1000


def test_within_tolerance_the_books_stay_and_the_record_is_accurate(north: Client) -> None:
    lot = north.receive(north.material("Talc"), "1 kg", "20.00")
    sheet = open_count(north, lot)
    line = read(north, sheet, lot, quantity="980 g")
    assert (line["within"], line["asks"]) == (True, None), "the limit itself still agrees"
    closed = north.post(f"counts/{sheet['id']}/close", {}).made()
    assert closed["accuracy"] == {"counted": 1, "within": 1, "percent": "100.00"}
    assert D(north.get(f"lots/{lot}").made()["on_hand"]["grams"]) == 1000
    ended = north.post(f"counts/{sheet['id']}/readings", {"readings": [{"lot": lot}]})
    assert ended.status in (409, 422)
    north.post(f"counts/{sheet['id']}/close", {}).refused(409, "count_ended")


def test_a_blind_sheet_shows_no_books_until_nothing_is_to_be_read(north: Client) -> None:
    lot = north.receive(north.material("Mica"), "1 kg", "20.00")
    sheet = open_count(north, lot, blind=True)
    hidden = ("book", "difference", "difference_percent", "tolerance", "within")
    for line in (sheet["lines"][0], read(north, sheet, lot, quantity="900 g")):
        assert [line[name] for name in hidden] == [None] * 5
    assert line["asks"] == "recount"
    line = read(north, sheet, lot, quantity="905 g")
    assert (D(line["book"]), D(line["difference"])) == (D(1000), D(-95))


def test_pieces_several_containers_and_none_at_all(north: Client) -> None:
    jar = north.receive(north.material("Jar", measured_by="count"), "100 each", "30.00")
    sheet = open_count(north, jar)
    body = {"readings": [{"lot": jar, "containers": DRUM}]}
    answer = north.post(f"counts/{sheet['id']}/readings", body)
    answer.refused(422, "invalid", "/readings/0/containers/0/gross")
    assert D(read(north, sheet, jar, quantity="97 each")["difference"]) == -3
    none = read(north, sheet, jar, nothing=True)
    assert (D(none["counted"]), D(none["difference"])) == (D(0), D(-100))
    spilt = {"cause": "spill", "quantity": "40 each", "reason": "a box fell"}
    short = close(north, sheet, jar, spilt)
    short.refused(409, "difference_unexplained")
    close(north, sheet, jar, spilt, SHRINK).made()
    oil = north.receive(north.material("Oil"), "1 kg", "20.00")
    sheet = open_count(north, oil)
    # 700 g, and 453.59237 - 5 x 28.349523125 g.
    two = [{"gross": "800 g", "tare": "100 g"}, {"gross": "1 lb", "tare": "5 oz wt"}]
    line = read(north, sheet, oil, containers=two)
    assert D(line["counted"]) == D("1011.844754")
    heavy = [{"gross": "100 g", "tare": "800 g"}]
    body = {"readings": [{"lot": oil, "containers": heavy}]}
    answer = north.post(f"counts/{sheet['id']}/readings", body)
    answer.refused(422, "invalid", "/readings/0/containers/0/tare")


def test_a_lot_stands_on_one_open_sheet_and_nobody_elses(north: Client, mill: Client) -> None:
    lot = north.receive(north.material("Starch"), "1 kg", "20.00")
    sheet = open_count(north, lot)
    north.post("counts", {"lots": [lot]}).refused(409, "conflict")
    mill.post("counts", {"lots": [lot]}).refused(422, "not_found", "/lots/0")
    mill.post("counts", {"materials": [north.get(f"lots/{lot}").made()["id"]]}).refused(
        422, "not_found", "/materials/0"
    )
    mill.get(f"counts/{sheet['id']}").refused(404, "not_found")
    _, _, theirs = drum_with_ladles(mill)
    missing = "0198a7b0-0000-7000-8000-00000000ffff"
    for batch in (theirs["id"], missing, "no id"):
        answer = close(north, sheet, lot, {**ladles(theirs), "batch": batch})
        answer.refused(422, "not_found", "/explanations/0/causes/0/batch")
    future = {"happened_at": "2199-01-01T00:00:00Z", "readings": [{"lot": lot, "nothing": True}]}
    answer = north.post(f"counts/{sheet['id']}/readings", future)
    answer.refused(422, "invalid", "/happened_at")
    dropped = north.post(f"counts/{sheet['id']}/cancellation", {"reason": "the scale is broken"})
    assert dropped.made()["state"] == "dropped"
    open_count(north, lot)


def test_what_is_promised_to_a_plan_and_gone_is_lacking_there(north: Client) -> None:
    material = north.material("Zea Mays Starch")
    lot = north.receive(material, "1 kg", "20.00")
    lines = [{"material": material, "percent": "100"}]
    formula = north.post(
        "formulas", {"name": "Dust", "phases": [{"name": "A", "lines": lines}]}
    ).made()
    plan = {"formula": formula["id"], "batch": "900 g", "planned_for": "2025-05-08"}
    north.post("batches", plan).made()
    sheet = open_count(north, lot)
    read(north, sheet, lot, quantity="500 g")
    read(north, sheet, lot, quantity="500 g")
    spilt = {"cause": "spill", "reason": "the bag burst"}
    close(north, sheet, lot, spilt).made()
    stock = north.stock(material)
    assert (D(stock["on_hand"]), D(stock["reserved"]), D(stock["available"])) == (
        D(500),
        D(500),
        D(0),
    )
    assert D(stock["position"]) == -400


@pytest.mark.parametrize("role", ["bench", "read-only"])
def test_who_may_not_see_costs_counts_without_them(coop: Coop, north: Client, role: str) -> None:
    who = member(coop, "North Bench", role)
    lot = north.receive(north.material("Silica"), "1 kg", "20.00")
    if role == "read-only":
        who.post("counts", {"lots": [lot]}).refused(403, "forbidden")
        return
    sheet = open_count(who, lot)
    read(who, sheet, lot, quantity="900 g")
    read(who, sheet, lot, quantity="900 g")
    (cause,) = close(who, sheet, lot, SHRINK).made()["lines"][0]["causes"]
    assert (cause["value"], cause["cost_difference"]) == (None, None)


def test_what_is_due_by_class(mill: Client) -> None:
    """Used in a year: 80 of 100 dollars by one material, 15 by another, 5 by the third."""
    import datetime

    recent = datetime.datetime.now(datetime.UTC) - datetime.timedelta(days=9)
    names = {}
    for name, price, used in (("Rosa", "80", "1000"), ("Bees", "15", "1000"), ("Sal", "5", "1000")):
        names[name] = mill.material(name)
        lot = mill.receive(names[name], "2 kg", str(int(price) * 2), happened_at=recent.isoformat())
        body = {
            "lines": [{"lot": lot, "quantity": f"{used} g"}],
            "customer": "stall",
            "happened_at": (recent + datetime.timedelta(hours=1)).isoformat(),
        }
        mill.post("sales", body).made()
        if name == "Bees":
            sheet = open_count(mill, lot)
            body = {
                "happened_at": (recent + datetime.timedelta(days=1)).isoformat(),
                "readings": [{"lot": lot, "quantity": "1 kg"}],
            }
            mill.post(f"counts/{sheet['id']}/readings", body).made()
            mill.post(f"counts/{sheet['id']}/close", {}).made()
    rows = {row["material"]: row for row in mill.listed("due-counts", limit=1)}
    found = {name: rows[id] for name, id in names.items()}
    assert {name: row["abc_class"] for name, row in found.items()} == {
        "Rosa": "A",
        "Bees": "B",
        "Sal": "C",
    }
    assert [row["due"] for row in found.values()] == [True, False, True]
    assert (found["Rosa"]["annual_value"], D(found["Rosa"]["annual_use"])) == ("80.00", D(1000))
    day = (recent + datetime.timedelta(days=1)).date()
    assert found["Bees"]["last_counted"] == day.isoformat()
    sheet = mill.post("counts", {"classes": ["A"]}).made()
    assert [line["material"] for line in sheet["lines"]] == [names["Rosa"]]
