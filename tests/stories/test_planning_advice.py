"""What a plan says beside its lines: lots that expire before its day, intermediates to make."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from tests.api.client import Client

D = Decimal
TODAY = datetime.now(UTC).date()


def after(days: int) -> str:
    return str(TODAY + timedelta(days=days))


def take(maker: Client, lot: str, quantity: str) -> dict[str, Any]:
    body = {"lines": [{"lot": lot, "quantity": quantity}], "purpose": "sample", "reason": "seen"}
    return dict(maker.post("issues", body).made())


def shelf(maker: Client) -> tuple[list[str], str]:
    """900 g at 11.40 a kilogram that expire in four days, 1,450 at 12.10, 2,600 at 12.90."""
    oil = maker.material("Prunus Amygdalus Dulcis Oil", cost_formula="lot")
    first = maker.receive(oil, "900 g", "10.26", expires_on=after(4))
    second = maker.receive(oil, "2 kg", "24.20", expires_on=after(55))
    third = maker.receive(oil, "2600 g", "33.54")
    take(maker, second, "550 g")
    lines = [{"material": oil, "percent": "100"}]
    formula = maker.post("formulas", {"name": "Oil", "phases": [{"name": "", "lines": lines}]})
    return [first, second, third], formula.made()["id"]


def told(picks: list[dict[str, Any]]) -> list[tuple[str, Decimal]]:
    return [(one["lot"], D(one["quantity"])) for one in picks]


def test_a_lot_that_expires_before_the_day_is_named_with_what_it_is_worth(maker: Client) -> None:
    """Planned in eight days: 1,450 + 1,550 g for $37.54, and $10.26 would be written off. Made
    while the first lot lasts: 900 + 1,450 + 650 g for $36.19."""
    lots, formula = shelf(maker)
    size = {"formula": formula, "batch": "3 kg", "planned_for": after(8)}
    planned = maker.post("batches", size).made()
    (one,) = planned["advice"]["expiring"]
    assert told(one["picks"]) == [(lots[1], D(1450)), (lots[2], D(1550))]
    assert D(one["value"]) == D("37.54")
    assert told(one["skipped"]) == [(lots[0], D(900))]
    assert D(one["at_risk"]) == D("10.26")
    (sooner,) = one["sooner"]
    assert date.fromisoformat(sooner["make_by"]) == TODAY + timedelta(days=4)
    assert told(sooner["picks"]) == [(lots[0], D(900)), (lots[1], D(1450)), (lots[2], D(650))]
    assert (D(sooner["value"]), D(sooner["saves"])) == (D("36.19"), D("10.26"))
    assert "10.26 USD" in sooner["text"]
    assert maker.get(f"batches/{planned['id']}/advice").made() == planned["advice"]

    maker.post(f"batches/{planned['id']}/cancellation", {"reason": "rather sooner"}).made()
    early = maker.post("batches", {**size, "planned_for": after(3)}).made()
    assert early["advice"]["expiring"] == []
    assert [pick["lot"] for pick in early["lines"][0]["picks"]] == lots


def write_three_levels(maker: Client) -> dict[str, str]:
    """A wash of 3 % glycerite, which is 10 % of a herb and 90 % of a syrup that is made, too."""
    glycerin = maker.material("Glycerin")
    herb = maker.material("Calendula Officinalis Flower")
    water = maker.material("Water", stocked=False)
    maker.receive(glycerin, "10 kg", "100")
    maker.receive(herb, "1 kg", "22")

    def write(name: str, lines: list[dict[str, Any]], loss: str = "0") -> str:
        phases = [{"name": "", "lines": lines}]
        body = {"name": name, "phases": phases, "process_loss_percent": loss}
        return str(maker.post("formulas", body).made()["id"])

    syrup = write("Syrup", [{"material": glycerin, "percent": "100"}], "10")
    steeped = [{"material": herb, "percent": "10"}, {"formula": syrup, "percent": "90"}]
    glycerite = write("Glycerite", steeped, "25")
    wash: list[dict[str, Any]] = [{"material": water, "balance": True}]
    wash.append({"formula": glycerite, "percent": "3"})
    return {
        "glycerin": glycerin,
        "herb": herb,
        "syrup": syrup,
        "glycerite": glycerite,
        "wash": write("Wash", wash),
    }


def make(maker: Client, batch: dict[str, Any]) -> str:
    """A batch weighed from what was picked, finished as planned and released; its lot."""
    path = f"batches/{batch['id']}"
    for line in maker.get(path).made()["lines"]:
        for pick in line["picks"]:
            body = {"line": line["id"], "lot": pick["lot"], "quantity": f"{pick['grams']} g"}
            maker.post(f"{path}/weighings", body).made()
    body = {"output": f"{batch['output_grams']} g", "release": {"basis": "clear"}}
    return str(maker.post(f"{path}/finish", body).made()["lot"]["id"])


def test_what_an_intermediate_lacks_is_offered_and_planned_through_all_levels(
    maker: Client,
) -> None:
    """482.66 g of glycerite ÷ 0.75 = 643.55 g: 64.35 g of herb and 579.19 g of syrup, which is
    643.55 g ÷ 0.9 of glycerin."""
    ids = write_three_levels(maker)
    size = {"formula": ids["wash"], "batch": "16088.66 g", "planned_for": after(0)}
    wash = maker.post("batches", size).made()
    (offer,) = wash["advice"]["intermediates"]
    assert (offer["formula"], D(offer["short"])) == (ids["glycerite"], D("482.66"))
    assert (D(offer["output_grams"]), D(offer["batch_grams"])) == (D("482.66"), D("643.55"))
    needed = {one["material"]: D(one["grams"]) for one in offer["materials"]}
    assert needed[ids["herb"]] == D("64.35")
    assert needed[ids["glycerin"]] == D("643.55")

    path = f"batches/{wash['id']}"
    glycerite, syrup = maker.post(f"{path}/intermediates", {}).made()["batches"]
    assert (glycerite["formula"], D(glycerite["batch_grams"])) == (ids["glycerite"], D("643.55"))
    assert D(glycerite["output_grams"]) == D("482.66")
    assert (syrup["formula"], syrup["planned_for"]) == (ids["syrup"], after(0))
    maker.post(f"{path}/intermediates", {}).refused(409, "nothing_short")
    (offer,) = maker.get(f"{path}/advice").made()["intermediates"]
    assert [one["id"] for one in offer["planned"]] == [glycerite["id"]]
    assert D(offer["output_grams"]) == 0

    make(maker, syrup)
    maker.post(f"batches/{glycerite['id']}/reservations", {}).made()
    lot = make(maker, glycerite)
    again = maker.post(f"{path}/reservations", {}).made()
    assert [pick["lot"] for pick in again["lines"][1]["picks"]] == [lot]
    assert D(again["lines"][1]["short"]) == 0
    assert maker.get(f"{path}/advice").made()["intermediates"] == []
