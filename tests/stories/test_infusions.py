"""A herb steeped, pressed and weighed: what it kept, what evaporated, and what the rest cost.

The amounts are an invented scenario; every figure was worked out by hand beside the rule.
"""

from decimal import Decimal
from typing import Any

from tests.api.client import Client

D = Decimal
DAY = "2025-05-02T09:00:00Z"


class Steeping:
    """100 g of herb at $22/kg for 900 g of glycerin at $11.50/kg, and the formula that says so."""

    def __init__(self, maker: Client, name: str, **facts: Any) -> None:
        self.maker = maker
        self.herb = maker.material(f"Calendula Officinalis Flower {name}")
        self.glycerin = maker.material(f"Glycerin {name}")
        self.herb_lot = maker.receive(self.herb, "5 kg", "110", expires_on="2026-03-01")
        self.glycerin_lot = maker.receive(self.glycerin, "20 kg", "230")
        self.body = {
            "name": f"Calendula Glycerite {name}",
            "infusion": {"retention": "1.5"},
            "shelf_life_days": 100,
            "phases": [{"name": "steep", "lines": self.lines(spent=True)}],
            **facts,
        }
        self.formula = maker.post("formulas", self.body).made()["id"]

    def lines(self, **facts: Any) -> list[dict[str, Any]]:
        return [
            {"material": self.herb, "percent": "10", **facts},
            {"material": self.glycerin, "balance": True},
        ]

    def batch(self, herb: str = "100 g", glycerin: str = "900 g") -> dict[str, Any]:
        """A kilogram planned, with these weighed in."""
        body = {"formula": self.formula, "batch": "1 kg", "planned_for": "2025-05-02"}
        batch: dict[str, Any] = self.maker.post("batches", body).made()
        poured = ((self.herb_lot, herb), (self.glycerin_lot, glycerin))
        for line, (lot, quantity) in zip(batch["lines"], poured, strict=True):
            weighing = {"line": line["id"], "lot": lot, "quantity": quantity, "happened_at": DAY}
            self.maker.post(f"batches/{batch['id']}/weighings", weighing).made()
        return batch

    def finish(self, batch: dict[str, Any], output: str, **facts: Any) -> Any:
        body = {"output": output, "happened_at": DAY, **facts}
        return self.maker.post(f"batches/{batch['id']}/finish", body)


def test_a_glycerite_loses_what_the_herb_keeps(maker: Client) -> None:
    """10 % · (1 + 1.5) = 25 %: 750 g of a kilogram, and 1,000 g for 750 g. Herb $2.20 and glycerin
    $10.35 make $12.55: $16.7333 a kilogram, where 1,000 g would make it 12.55."""
    steeping = Steeping(maker, "A")
    told = maker.get(f"formulas/{steeping.formula}").made()
    assert told["process_loss_percent"] == "25"
    assert told["infusion"] == {"retention": "1.5", "evaporation_percent": "0"}
    spent = [line["spent"] for line in told["phases"][0]["lines"]]
    assert spent == [True, False]
    scaled = maker.post(f"formulas/{steeping.formula}/scaling", {"output": "482.66 g"}).made()
    assert [D(line["grams"]) for line in scaled["lines"]] == [D("64.36"), D("579.19")]

    batch = steeping.batch()
    assert D(batch["output_grams"]) == D(750)
    assert [line["spent"] for line in batch["lines"]] == [True, False]
    made = steeping.finish(batch, "740 g", marc="248 g").made()
    figures = made["infusion"]
    names = ("input_grams", "spent_grams", "marc_grams", "evaporation_grams", "output_grams")
    assert [D(figures[name]) for name in names] == [D(1000), D(100), D(248), D(12), D(740)]
    assert (D(figures["retention"]), D(figures["evaporation_percent"])) == (D("1.48"), D("1.2"))
    assert (D(figures["yield_percent"]), D(figures["expected_yield_percent"])) == (D(74), D(75))
    assert D(figures["expected_marc_grams"]) == D(250)
    assert D(made["loss"]["expected_grams"]) == D(250)
    assert D(made["loss"]["beyond_grams"]) == D(10)
    # The cost of the kilogram goes through the loss.
    assert made["cost"]["total"] == "12.55"
    assert D(made["cost"]["per_kg"]).quantize(D("0.0001")) == D("16.9595")
    # Its own lot, with the shelf life of the formula from the day it was made.
    assert made["lot"]["status"] == "quarantine"
    assert made["expires_on"] == "2025-08-10"

    kept = maker.get(f"batches/{batch['id']}", explain=1).made()
    assert kept["finished"]["infusion"] == figures
    balance = kept["finished"]["mass_balance"]
    places = {one["place"]: D(one["grams"]) for one in balance["places"]}
    assert places == {"output": D(740), "marc": D(248), "evaporation": D(12)}
    assert D(balance["input_grams"]) == sum(places.values())
    working = {part["name"]: part for part in kept["working"]["parts"]}
    assert working["expected_grams"]["facts"]["spent"] == "100.000000 g"
    trace = maker.get(f"lots/{steeping.herb_lot}/trace", direction="forward").made()
    assert D(trace["balance"]["difference"]) == 0


def test_an_infusion_is_no_older_than_its_herb(maker: Client) -> None:
    """A shelf life of two years, but the herb is good until March: so is what was made of it."""
    steeping = Steeping(maker, "B", shelf_life_days=730)
    made = steeping.finish(steeping.batch(), "750 g").made()
    assert made["expires_on"] == "2026-03-01"
    assert "may be used until" in made["dates_note"]


def test_evaporation_adds_to_what_the_herb_keeps(maker: Client) -> None:
    """25 % and 5 %: 700 g. Without a weighed marc, the two are told as one."""
    infusion = {"retention": "1.5", "evaporation_percent": "5"}
    steeping = Steeping(maker, "C", infusion=infusion)
    batch = steeping.batch()
    assert D(batch["output_grams"]) == D(700)
    made = steeping.finish(batch, "690 g", abnormal_loss={"quantity": "4 g", "reason": "spilt"})
    figures = made.made()["infusion"]
    assert (figures["marc_grams"], figures["evaporation_grams"], figures["retention"]) == (
        None,
    ) * 3
    assert D(figures["expected_evaporation_grams"]) == D(50)
    places = {one["place"]: D(one["grams"]) for one in made.json["mass_balance"]["places"]}
    assert places == {"output": D(690), "abnormal loss": D(4), "marc and evaporation": D(306)}


def test_more_herb_keeps_more(maker: Client) -> None:
    """120 g weighed where 100 g were planned: 300 g are to be expected, not 25 % of 1,000 g."""
    steeping = Steeping(maker, "D")
    made = steeping.finish(steeping.batch("120 g", "880 g"), "700 g", marc="300 g").made()
    assert D(made["loss"]["expected_grams"]) == D(300)
    assert D(made["loss"]["beyond_grams"]) == 0
    assert D(made["infusion"]["retention"]) == D("1.5")


def test_past_batches_teach_what_the_herb_keeps(maker: Client) -> None:
    """Kept 1.4, 1.5 and 1.7 g/g: the median is 1.5; a batch whose marc was not weighed teaches
    nothing, nor does one whose finish was undone."""
    steeping = Steeping(maker, "E")
    assert steeping.batch()["infusion"]["learned_retention"] is None
    for marc in ("240 g", "250 g", "270 g"):
        steeping.finish(steeping.batch(), "730 g", marc=marc).made()
    steeping.finish(steeping.batch(), "730 g").made()
    undone = steeping.finish(steeping.batch(), "700 g", marc="300 g").made()
    maker.post(f"entries/{undone['entry']}/reversal", {"reason": "the wrong bowl"}).made()
    taught = steeping.batch()["infusion"]
    assert (taught["retention"], taught["evaporation_percent"]) == ("1.5", "0")
    assert taught["learned_retention"] == {
        "batches": 3,
        "median": "1.5",
        "spread": "range",
        "low": "1.4",
        "high": "1.7",
    }
    printed = maker.get(f"batches/{undone['id']}/sheet", format="html")
    assert b"Marc weighed" in printed.raw


def test_a_part_of_the_pot_takes_its_share_of_the_herb(maker: Client) -> None:
    """A quarter boils over: 75 g of the herb are left in 750 g."""
    steeping = Steeping(maker, "F")
    batch = steeping.batch()
    spilt = {"quantity": "250 g", "reason": "boiled over", "happened_at": DAY}
    maker.post(f"batches/{batch['id']}/scrap", spilt).made()
    made = steeping.finish(batch, "560 g", marc="180 g").made()
    assert D(made["infusion"]["spent_grams"]) == D(75)
    assert D(made["infusion"]["retention"]) == D("1.4")


def test_a_version_keeps_its_retention(maker: Client) -> None:
    """The next version measures it anew; a batch planned before keeps 25 %."""
    steeping = Steeping(maker, "G")
    batch = steeping.batch()
    read = maker.get(f"formulas/{steeping.formula}")
    body = {**steeping.body, "infusion": {"retention": "2", "evaporation_percent": "1.5"}}
    path = f"formulas/{steeping.formula}/versions"
    new = maker.post(path, body, **{"If-Match": str(read.headers["ETag"])}).made()
    assert new["process_loss_percent"] == "31.5"
    assert D(maker.get(f"batches/{batch['id']}").made()["output_grams"]) == D(750)
    assert maker.get(f"formulas/{steeping.formula}", version=1).made()["infusion"] == {
        "retention": "1.5",
        "evaporation_percent": "0",
    }


def test_what_cannot_be_an_infusion_is_refused(maker: Client) -> None:
    steeping = Steeping(maker, "H")

    def refused(pointer: str, **facts: Any) -> None:
        body = {**steeping.body, **facts}
        given = {name: value for name, value in body.items() if value is not None}
        maker.post("formulas", given).refused(422, "invalid", pointer)

    phases = [{"name": "steep", "lines": steeping.lines()}]
    refused("/process_loss_percent", process_loss_percent="25")
    refused("/phases/0/lines/0/spent", infusion=None)
    refused("/infusion", phases=phases)
    refused("/infusion", infusion={"retention": "9"})
    maker.post("formulas", {**steeping.body, "infusion": {"retention": "-1"}}).refused(
        422, "out_of_range", "/infusion/retention"
    )
    plain = {"name": "Glycerin alone", "phases": phases}
    steeping.formula = maker.post("formulas", plain).made()["id"]
    batch = steeping.batch()
    steeping.finish(batch, "900 g", marc="90 g").refused(422, "invalid", "/marc")
    assert maker.get(f"batches/{batch['id']}").made()["infusion"] is None
    made = steeping.finish(batch, "900 g").made()
    assert made["infusion"] is None
    assert [one["place"] for one in made["mass_balance"]["places"]] == ["output", "process loss"]


def test_a_marc_is_weighed(maker: Client) -> None:
    steeping = Steeping(maker, "J")
    batch = steeping.batch()
    steeping.finish(batch, "740 g", marc="248 mL").refused(422, "density_missing", "/marc")
    steeping.finish(batch, "740 g", marc="3 each").refused(422, "unit_wrong", "/marc")
    assert maker.get(f"batches/{batch['id']}").made()["state"] == "planned"
