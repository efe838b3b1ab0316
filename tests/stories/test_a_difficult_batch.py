"""A maker's month: one batch of hand wash that went as batches go, from delivery to recall.

The batch is an invented scenario. Every figure was worked out by hand beside the step that asks for
it; what is in store is looked at after each step.
"""

from decimal import Decimal
from typing import Any

from tests.api.client import Client
from tests.running import Running
from tests.stories.month import Month

D: Any = Decimal


def test_a_month_of_hand_wash(maker: Client, server: Running) -> None:
    month = Month(maker)
    the_deliveries_come(month)
    two_formulas_are_written(month)
    a_batch_is_planned_and_something_is_short(month)
    the_glycerite_is_made_on_the_way(month)
    the_paste_is_used_up_and_made_up_with_a_weaker_grade(month)
    the_preservative_goes_in_too_warm_and_that_is_said(month)
    the_acid_goes_in_until_the_ph_is_right(month)
    the_batch_is_finished_and_costed(month)
    bottles_are_filled_and_two_are_kept(month)
    the_bottles_hold_more_than_they_say(month)
    bottles_are_sold_and_some_go_to_a_shop(month)
    the_drum_is_counted_and_the_difference_explained(month)
    the_freight_bill_comes_late(month)
    somebody_asks_where_the_drum_went(month)
    the_drum_is_called_back(month)
    assert server.command("verify_ledger").returncode == 0, "the books still agree with themselves"


def the_deliveries_come(month: Month) -> None:
    """On the first, everything arrives; of the paste it is a small rest."""
    same = {"inci_name": "Sodium Laureth Sulfate", "function": "surfactant", "cost_formula": "lot"}
    bought: list[tuple[str, dict[str, Any], str, str]] = [
        ("glycerin", {"inci_name": "Glycerin"}, "10 kg", "100.00"),
        ("flowers", {"inci_name": "Calendula Officinalis Flower"}, "1 kg", "22.00"),
        ("paste", {**same, "brings": []}, "1 kg", "5.90"),
        ("grade", {**same, "brings": ["preservative"]}, "10 kg", "29.30"),
        ("preservative", {"inci_name": "Phenoxyethanol"}, "1 kg", "25.00"),
        ("acid", {"inci_name": "Lactic Acid"}, "1 kg", "12.50"),
        ("bottle", {"measured_by": "count"}, "200 each", "100.00"),
    ]
    for name, facts, quantity, price in bought:
        material = month.maker.material(f"Hand wash {name}", **facts)
        line = {
            "material": material,
            "supplier_lot": f"{name} 77",
            "quantity": quantity,
            "price": price,
        }
        seen = {"supplier": month.maker.supplier(), "release": {"basis": "certificate seen"}}
        month.papers[name] = month.made(1, "receipts", lines=[line], **seen)
        month.materials[name] = material
        month.lots[name] = month.papers[name]["lines"][0]["lot"]["id"]
    month.materials["water"] = month.maker.material("Water", inci_name="Aqua", stocked=False)
    month.store(glycerin="10000", paste="1000", grade="10000", bottle="200")


def two_formulas_are_written(month: Month) -> None:
    """Flowers steeped in glycerin, of which a quarter is lost; and the wash with 5 % of that."""
    of = month.materials
    steeped = [
        {"material": of["flowers"], "percent": "10"},
        {"material": of["glycerin"], "percent": "90"},
    ]
    body = {"name": "Calendula glycerite", "phases": [{"name": "A", "lines": steeped}]}
    glycerite = month.maker.post("formulas", {**body, "process_loss_percent": "25"}).made()
    weaker = [{"material": of["grade"], "active_percent": "28"}]
    effect = {"typical_percent": "0.3", "max_percent": "0.50"}
    hot = [
        {"material": of["water"], "balance": True},
        {
            "material": of["paste"],
            "percent": "15",
            "active_percent": "70",
            "alternates": weaker,
        },
        {"formula": glycerite["id"], "percent": "5"},
    ]
    cool = [
        {"material": of["preservative"], "percent": "1", "max_temperature": "40 degC"},
        {"material": of["acid"], "to_effect": effect},
    ]
    body = {
        "name": "Hand wash",
        "phases": [{"name": "Hot", "lines": hot}, {"name": "Cool", "lines": cool}],
        "windows": [{"measure": "ph", "target": "5.5", "low": "5.2", "high": "5.8"}],
    }
    density = {"value": "1.02 g/mL", "at": "20 degC"}
    month.papers["formula"] = month.maker.post("formulas", {**body, "density": density}).made()


def a_batch_is_planned_and_something_is_short(month: Month) -> None:
    """12 kg: 1,800 g of paste, of which 1,000 are there; 600 g of a glycerite that nobody made.

    The water is what is left of 100 %: 78.7 %, 9,444 g.
    """
    size = {"formula": month.papers["formula"]["id"], "batch": "12 kg", "planned_for": "2025-05-06"}
    batch = month.maker.post("batches", size).made()
    assert [D(line["grams"]) for line in batch["lines"]] == [9444, 1800, 600, 120, 36]
    assert [D(line["short"]) for line in batch["lines"]] == [0, 800, 600, 0, 0]
    (offer,) = batch["advice"]["intermediates"]
    # 600 g are three quarters of 800 g.
    assert (D(offer["output_grams"]), D(offer["batch_grams"])) == (600, 800)
    month.papers["hand wash"] = batch


def the_glycerite_is_made_on_the_way(month: Month) -> None:
    """80 g of flowers for $1.76 and 720 g of glycerin for $7.20 give 640 g at $14.00 a kilogram."""
    (batch,) = month.maker.post(f"{month.path('hand wash')}/intermediates", {}).made()["batches"]
    month.papers["glycerite"] = month.maker.get(f"batches/{batch['id']}").made()
    assert [D(line["grams"]) for line in month.papers["glycerite"]["lines"]] == [80, 720]
    month.weigh(2, "glycerite", 0, "80", "flowers").made()
    month.weigh(2, "glycerite", 1, "720", "glycerin").made()
    release = {"basis": "clear, smells of the flower"}
    done = month.made(3, f"{month.path('glycerite')}/finish", output="640 g", release=release)
    assert (done["cost"]["total"], D(done["yield_percent"])) == ("8.96", 80)
    month.lots["glycerite"] = done["lot"]["id"]
    month.store(glycerin="9280", flowers="920", glycerite="640")
    assert month.worth("glycerite") == D("8.96")
    again = month.maker.post(f"{month.path('hand wash')}/reservations", {}).made()
    (pick,) = again["lines"][2]["picks"]
    assert (pick["lot"], D(pick["grams"])) == (month.lots["glycerite"], 600)


def the_paste_is_used_up_and_made_up_with_a_weaker_grade(month: Month) -> None:
    """1,800 g of 70 % are 1,260 g active; 1,000 g left are 700; 560 ÷ 0.28 = 2,000 g of the weaker
    grade, 1,200 g more than were to go in, so the water gives way: 9,444 - 1,200 = 8,244 g."""
    line = month.papers["hand wash"]["lines"][1]["id"]
    body = {"line": line, "lot": month.lots["paste"]}
    done = month.maker.post(f"{month.path('hand wash')}/top-ups", body).made()
    assert {name: D(grams) for name, grams in done["active"].items()} == {
        "needed_grams": 1260,
        "kept_grams": 700,
        "short_grams": 560,
        "unmatched_grams": 0,
    }
    assert (D(done["kept_grams"]), D(done["other_grams"])) == (1000, 2000)
    assert D(done["brought_grams"]) == 1200
    assert D(done["balance"]["after_grams"]) == 8244
    assert {"preservative_carried", "balance_changed"} <= {one["code"] for one in done["cautions"]}
    month.weigh(6, "hand wash", 0, "8244", "").made()
    month.weigh(6, "hand wash", 1, "1000", "paste").made()
    month.weigh(6, "hand wash", 1, "2000", "grade").made()
    month.weigh(6, "hand wash", 2, "600", "glycerite").made()
    month.store(paste="0", grade="8000", glycerite="40")


def the_preservative_goes_in_too_warm_and_that_is_said(month: Month) -> None:
    """46 degC where 40 are allowed: refused, then done with a reason that the register keeps."""
    month.measure("temperature", "46 degC")
    refused = month.weigh(6, "hand wash", 3, "120", "preservative")
    refused.refused(409, "too_hot", "/line")
    month.store(preservative="1000")
    why = {"reason": "its maker states 50 degC"}
    done = month.weigh(6, "hand wash", 3, "120", "preservative", deviation=why).made()
    assert done["overrode"] == ["maximum_temperature"]
    month.store(preservative="880")
    (row,) = month.maker.listed("deviations", batch=month.papers["hand wash"]["id"])
    assert (row["kinds"], row["reason"]) == (["maximum_temperature"], "its maker states 50 degC")


def the_acid_goes_in_until_the_ph_is_right(month: Month) -> None:
    """Beside 8,244 + 3,000 + 600 + 120 = 11,964 g: 0.005 · 11,964 ÷ 0.995 = 60.12 g at most.

    After 24, 12 and 6 g, 18.12 g are left: 20 would make 62 ÷ 12,026 = 0.5155 %. Six more are
    enough: 48 ÷ 12,012 = 0.3996 %.
    """
    path = month.path("hand wash")
    acid = month.maker.get(path).made()["lines"][4]
    assert D(acid["headroom_grams"]).quantize(D("0.01")) == D("60.12")
    for grams, left, ph in (("24", "36.12", "6.8"), ("12", "24.12", "6.2"), ("6", "18.12", "6.0")):
        effect = month.weigh(6, "hand wash", 4, grams, "acid").made()["effect"]
        assert D(effect["headroom_grams"]).quantize(D("0.01")) == D(left)
        assert month.measure("ph", ph)["judgement"] == "above"
    refused = month.weigh(6, "hand wash", 4, "20", "acid").refused(422, "over_maximum", "/quantity")
    assert "0.5155 %" in refused["detail"]
    month.store(acid="958")
    last = month.weigh(6, "hand wash", 4, "6", "acid").made()["effect"]
    assert (D(last["total_grams"]), D(last["mass_grams"])) == (48, 12012)
    assert D(last["share_percent"]).quantize(D("0.0001")) == D("0.3996")
    assert month.measure("ph", "5.5")["judgement"] == "inside"
    month.store(acid="952")


def the_batch_is_finished_and_costed(month: Month) -> None:
    """Paste 5.90 + grade 5.86 + glycerite 8.40 + preservative 3.00 + acid 0.60 = $23.76; of
    12,012 g 11,880 come out, at $2.00 a kilogram."""
    done = month.made(6, f"{month.path('hand wash')}/finish", output="11880 g")
    assert (done["cost"]["materials"], done["cost"]["total"]) == ("23.76", "23.76")
    assert (done["lot"]["status"], done["outside_limits"]) == ("quarantine", [])
    month.lots["wash"] = done["lot"]["id"]
    released = {"decision": "release", "basis": "pH 5.5, clear, lathers"}
    month.maker.post(f"lots/{month.lots['wash']}/decisions", released).made()
    month.store(wash="11880")
    assert month.worth("wash") == D("23.76")


def bottles_are_filled_and_two_are_kept(month: Month) -> None:
    """45 of 250 mL at 1.02 g/mL and 2 % more, 260.1 g each; a heel, a spill, two retained.

    11,880 g less 40 g spilt cost $23.68; 45 bottles $22.50; together $46.18.
    """
    packaging = [{"material": month.materials["bottle"], "quantity": "1 each"}]
    product = {
        "name": "Hand wash 250",
        "formula": month.papers["formula"]["id"],
        "fill": {"nominal": "250 mL", "overfill_percent": "2"},
        "packaging": packaging,
    }
    month.papers["product"] = month.maker.post("products", product).made()
    fill = month.made(
        9,
        "fills",
        product=month.papers["product"]["id"],
        lot=month.lots["wash"],
        units=45,
        used="11880 g",
        samples=[{"quantity": "2 each", "reason": "for its shelf life", "purpose": "retained"}],
        heel={"quantity": "120 g", "reason": "left in the hopper"},
        rejects=[{"quantity": "40 g", "reason": "the hose slipped"}],
        release={"basis": "caps tight, labels straight"},
    )
    told = fill["reconciliation"]
    # 43 of them, and the two samples: 11,184.3 + 520.2; 11,880 - 11,704.5 - 120 - 40 = 15.5 g.
    assert [D(told[name]) for name in ("filled", "samples", "unexplained")] == [
        D("11184.3"),
        D("520.2"),
        D("15.5"),
    ]
    assert (fill["rejected"], fill["total"]) == ("0.08", "46.18")
    month.papers["fill"] = fill
    month.lots["bottles"] = fill["lot"]["id"]
    month.store(wash="0", bottles="43", bottle="155")


def the_bottles_hold_more_than_they_say(month: Month) -> None:
    """Twelve weigh 260.3 g net on the average, 5.3 g above 255: 238.5 g or $0.48 in the 45.

    By that, 43 · 260.3 + 520.6 were filled, and 6.5 g stay unexplained.
    """
    contents = f"products/{month.papers['product']['id']}/net-contents"
    limits = month.maker.change("PUT", contents, {"rule": "eu"}).made()["limits"]
    assert (limits["short"], limits["least"]) == ("241", "232")
    path = f"fills/{month.papers['fill']['id']}"
    units = [{"net": "259.3 g"}, {"net": "261.3 g"}] * 6
    done = month.maker.post(f"{path}/unit-weighings", {"weighings": units}).made()
    assert (D(done["mean_grams"]), done["verdict"]) == (D("260.3"), "holds")
    assert (D(done["giveaway"]["grams"]), done["giveaway"]["money"]) == (D("238.5"), "0.48")
    told = month.maker.get(path).made()["reconciliation"]
    assert (told["filled_by"], D(told["unexplained"])) == ("weighed", D("6.5"))


def bottles_are_sold_and_some_go_to_a_shop(month: Month) -> None:
    """20 and 9 are sold by name, 8 lie at the shop, which sells 3 of them: 6 are left here."""

    def move(day: int, path: str, count: int, **facts: Any) -> Any:
        lines = [{"lot": month.lots["bottles"], "quantity": f"{count} each"}]
        return month.made(day, path, lines=lines, **facts)

    first = move(12, "sales", 20, customer="Quay pharmacy, order 114")
    month.papers["sale"] = first
    assert first["value"] == "20.52"  # 20 ÷ 45 of 46.18
    move(13, "sales", 9, customer="Saturday market")
    move(15, "consignments", 8, shop="Harbour shop")
    move(18, "consignments/sales", 3, shop="Harbour shop")
    month.store(bottles="6")


def the_drum_is_counted_and_the_difference_explained(month: Month) -> None:
    """100 g went to a laboratory. The books say 9,180 g, the scale 8,980: 2.18 % less, where 2 %
    are allowed. Counted again, 150 g were spilt ($1.50) and 50 g are gone ($0.50)."""
    glycerin = month.lots["glycerin"]
    sample = {"purpose": "sample", "reason": "to the laboratory"}
    lines = [{"lot": glycerin, "quantity": "100 g"}]
    month.made(19, "issues", lines=lines, **sample)
    sheet = month.maker.post("counts", {"lots": [glycerin], "tolerance_percent": "2"}).made()
    reading = {"lot": glycerin, "containers": [{"gross": "10530 g", "tare": "1550 g"}]}
    for asks in ("recount", "explanation"):
        path = f"counts/{sheet['id']}/readings"
        (line,) = month.made(20, path, readings=[reading])["lines"]
        assert (D(line["book"]), D(line["difference"])) == (9180, -200)
        assert (line["difference_percent"], line["asks"]) == ("-2.18", asks)
    causes = [
        {"cause": "spill", "quantity": "150 g", "reason": "a ladle was dropped"},
        {"cause": "shrink", "reason": "nothing else was found"},
    ]
    body = {"explanations": [{"lot": glycerin, "causes": causes}]}
    closed = month.maker.post(f"counts/{sheet['id']}/close", body).made()
    spilt, gone = closed["lines"][0]["causes"]
    assert [(D(one["quantity"]), one["value"]) for one in (spilt, gone)] == [
        (-150, "1.50"),
        (-50, "0.50"),
    ]
    month.store(glycerin="8980")
    assert month.worth("glycerin") == D("89.80")


def the_freight_bill_comes_late(month: Month) -> None:
    """$20 for 10,000 g: 8,980 are left, $17.96; 720 went into the glycerite, $1.44, which keeps its
    cost; 100 to the laboratory, 150 spilt and 50 gone, $0.20, $0.30 and $0.10."""
    path = f"receipts/{month.papers['glycerin']['id']}/charges"
    late = month.made(28, path, kind="freight", amount="20.00", spread_by="mass")
    assert (late["to_stock"], late["to_used"]) == ("17.96", "2.04")
    uses = {use["place"]: use["amount"] for use in late["lines"][0]["uses"]}
    batch = f"batch {month.papers['glycerite']['code']}"
    assert uses == {batch: "1.44", "sample": "0.20", "spill": "0.30", "shrink": "0.10"}
    shown = month.maker.get(month.path("glycerite")).made()
    assert (shown["finished"]["cost"]["total"], shown["later_bills"]["total"]) == ("8.96", "1.44")
    assert month.worth("glycerin") == D("107.76")
    month.store(glycerin="8980")


def somebody_asks_where_the_drum_went(month: Month) -> None:
    """Glycerin 77: 10,000 g came, and 9,950 are found: in the drum, in what was steeped with it, in
    bottles here, at a shop and sold, in what was kept, spilt, sampled and left. The 50 that a count
    found gone are told as such; together they are 100 %."""
    told = month.maker.get(f"lots/{month.lots['glycerin']}/recall-list").made()
    root, *made = told["lots"]
    lost = {"sample": D(100), "spill": D(150), "shrink": D(50)}
    assert places_of(root) == {"in store": D(8980), **lost}
    assert (D(root["total"]), D(root["used"])) == (10000, 720)
    found = {lot["lot"]: lot for lot in made}
    names = ("glycerite", "wash", "bottles")
    assert set(found) == {month.lots[name] for name in names}, "and nothing else"
    glycerite, wash, bottles = (found[month.lots[name]] for name in names)
    assert places_of(glycerite) == {"in store": D(40)}
    assert D(glycerite["used"]) == 600
    assert places_of(wash) == {"heel": D(120), "reject": D(40)}
    assert D(wash["used"]) == 11720
    assert places_of(bottles) == {
        "in store": D(6),
        "on consignment at Harbour shop": D(5),
        "retained": D(2),
        "sold": D(32),
    }
    balance = {name: D(told["balance"][name]) for name in ("received", "accounted", "unexplained")}
    assert balance == {"received": D(10000), "accounted": D(9950), "unexplained": D(50)}
    assert [D(lot["unexplained"]) for lot in (root, glycerite, wash, bottles)] == [50, 0, 0, 0]
    # 800 g gave 640, where 600 were to be expected; 12,012 g gave 11,880, with no loss planned.
    losses = [lot["making_loss"] for lot in (glycerite, wash)]
    assert [D(loss["normal_grams"]) for loss in losses] == [160, 0]
    assert [D(loss["beyond_grams"]) for loss in losses] == [0, 132]
    assert (root["making_loss"], bottles["making_loss"]) == (None, None)
    reach = told["within_reach"]
    assert (D(reach["units"]), D(reach["grams"])) == (11, 9020)
    assert {row["customer"]: D(row["sold"]) for row in told["direct_accounts"]} == {
        "Quay pharmacy, order 114": D(20),
        "Saturday market": D(9),
        "Harbour shop": D(3),
    }


def the_drum_is_called_back(month: Month) -> None:
    """Its supplier found mould. All that is here is held; the pharmacy brings 12 of its 20 back, 3
    were thrown away there; the shop's 5 were within reach all along."""
    drum = month.lots["glycerin"]
    opened = month.made(29, "recalls", lot=drum, reason="its supplier found mould", depth="retail")
    path = f"recalls/{opened['id']}"
    stands = {name: month.maker.get(f"lots/{lot}").made() for name, lot in month.lots.items()}
    here = {"glycerin", "glycerite", "bottles"}
    assert {name for name, one in stands.items() if one["status"] == "hold"} == here
    told = {"customer_reference": "Quay pharmacy, order 114", "how": "phone", "on": "2025-05-29"}
    bottles = month.lots["bottles"]
    gone = {"answered": True, "lot": bottles, "outcome": "destroyed", "quantity": "3 each"}
    month.maker.post(f"{path}/contacts", {**told, **gone}).made()
    lines = [{"lot": bottles, "quantity": "12 each"}]
    back = {"sale": month.papers["sale"]["entry"], "reason": "called back"}
    month.made(30, "customer-returns", lines=lines, **back)
    found = month.maker.get(path).made()["progress"]
    tally = {name: D(found["tally"][name]) for name in ("received", "accounted", "unexplained")}
    assert tally == {"received": D(10000), "accounted": D(9950), "unexplained": D(50)}
    assert (found["tally"]["sold"]["units"], found["tally"]["returned"]["units"]) == ("32", "12")
    assert found["tally"]["held"] == found["tally"]["in_reach"], "all that is here is held"
    (sale,) = found["sales"]
    amounts = [sale[name] for name in ("sold", "returned", "destroyed", "left")]
    assert amounts == ["32", "12", "3", "17"]
    closed = month.maker.post(f"{path}/closure", {"reason": "all have answered"}).made()
    assert closed["state"] == "closed"
    month.store(bottles="18")


def places_of(lot: dict[str, Any]) -> dict[str, Decimal]:
    return {place["place"]: D(place["quantity"]) for place in lot["places"]}
