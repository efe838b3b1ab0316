"""What was used, what that leads to expect, and the point at which to order again."""

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.api.client import Client

ADVICE = {
    "service_level_percent": "95",
    "lead_time": {"days": "9", "spread_days": "2"},
    "use": {"per_day": "1.8 kg", "spread": "600 g"},
}


def days_ago(days: int) -> str:
    """Noon of that day: the co-op keeps UTC."""
    noon = datetime.now(UTC).replace(hour=12, minute=0, second=0, microsecond=0)
    return (noon - timedelta(days=days)).isoformat()


def used(north: Client, name: str, by_week: list[int], came: str = "100 kg") -> str:
    """A material of which so many grams were issued in each week, the oldest first, of what
    came."""
    material = north.material(name)
    weeks = len(by_week)
    lot = north.receive(material, came, "500.00", happened_at=days_ago(7 * weeks + 2))
    for week, grams in enumerate(by_week):
        if grams:
            # The last day of each week: the series ends yesterday.
            issue = {
                "happened_at": days_ago(1 + 7 * (weeks - 1 - week)),
                "reason": "sample for a shop",
                "lines": [{"lot": lot, "quantity": f"{grams} g"}],
            }
            north.post("issues", {"purpose": "sample", **issue}).made()
    return material


def test_the_reorder_point_that_is_worked_out(north: Client) -> None:
    """1.8 kg a day (0.6), nine days (2), 95 of a hundred: 16.2 + 1.645 x 4.0249 = 22.82 kg."""
    material = north.material("Decyl glucoside of a reorder point")
    found = north.post(f"materials/{material}/reorder-point", ADVICE).made()
    assert found["lead_time_use"] == "16200"
    assert found["lead_time_spread"][:6] == "4024.9"
    assert found["safety_stock"][:6] == "6620.4"
    assert found["reorder_point"][:7] == "22820.4"
    assert found["use"] == {"per_day": "1800", "spread": "600", "measured": None}
    assert found["fill_rate_percent"] is None
    assert found["reorder_point"] in found["working"]
    # 1 - 4.0249 x 0.020893 / 25, where L(1.6449) = 0.020893: tables give 0.0209.
    with_order = {**ADVICE, "usual_order": "25 kg"}
    told = north.post(f"materials/{material}/reorder-point", with_order).made()
    assert told["fill_rate_percent"][:5] == "99.66"
    # It is what a watch takes.
    point = f"{found['reorder_point']} g"
    north.change("PUT", f"watches/{material}", {"reorder_point": point}).made()
    assert north.stock(material)["reorder_point"] == found["reorder_point"]


def test_use_is_measured(north: Client) -> None:
    """Weeks of 700, 1,400, 0, 2,100, 700 and 1,400 g: mean 1,050, squared distances 2,695,000.

    So the spread of a week is sqrt(2695000 / 5) = 734.17 g; of a day 150 g and 734.17 / sqrt(7) =
    277.49 g. With a lead time of 4 days at 50 of a hundred nothing but the mean counts: 600 g.
    """
    material = used(north, "Coco-betaine of six weeks", [700, 1400, 0, 2100, 700, 1400])
    usage = north.get(f"materials/{material}/usage").made()
    assert usage["series"] == ["700", "1400", "0", "2100", "700", "1400"]
    assert (usage["mean"], usage["spread"][:6]) == ("1050", "734.16")
    assert (usage["interval"], usage["pattern"]) == ("1.2", "smooth")
    assert usage["forecast"]["expected"] == "4200"
    assert (usage["forecast"]["tried"], usage["forecast"]["held"]) == (0, 0)
    plain = {"service_level_percent": "50", "lead_time": {"days": "4"}}
    found = north.post(f"materials/{material}/reorder-point", plain).made()
    assert (found["use"]["per_day"], found["use"]["spread"][:6]) == ("150", "277.48")
    assert found["use"]["measured"]["pattern"] == "smooth"
    assert (found["reorder_point"], found["safety_stock"]) == ("600", "0")
    by_day = north.get(f"materials/{material}/usage", period="day", periods=7).made()
    assert by_day["series"] == ["1400"]


def test_a_forecast_tells_how_often_it_was_right(north: Client) -> None:
    """Twelve even weeks and then a jump: of the three forecasts of one week one is wrong."""
    material = used(north, "Xanthan gum of eleven weeks", [500] * 10 + [5000])
    told = north.get(f"materials/{material}/usage", ahead=1).made()["forecast"]
    assert (told["tried"], told["held"]) == (3, 2)


def test_what_is_taken_back_was_not_used(north: Client) -> None:
    material = used(north, "Panthenol of two weeks", [300, 300])
    entries = north.listed("entries", kind="issue")
    last = next(one for one in entries if days_ago(1)[:10] in one["happened_at"])
    north.post(f"entries/{last['id']}/reversal", {"reason": "another jar"}).made()
    assert north.get(f"materials/{material}/usage").made()["series"] == ["300", "0"]


def test_refusals(north: Client, mill: Client) -> None:
    material = north.material("Citric acid that nobody used")
    path = f"materials/{material}/reorder-point"

    def ask(**changes: Any) -> Any:
        return north.post(path, {**ADVICE, **changes})

    unused = {name: value for name, value in ADVICE.items() if name != "use"}
    error = north.post(path, unused).refused(409, "conflict")
    assert "Say what is used in a day" in error["detail"]
    ask(service_level_percent="100").refused(422, "out_of_range", "/service_level_percent")
    ask(lead_time={"days": "-1"}).refused(422, "out_of_range", "/lead_time/days")
    ask(use={"per_day": "2 gal"}).refused(422, "density_missing", "/use/per_day")
    ask(use={"per_day": "3 oz"}).refused(422, "unit_ambiguous", "/use/per_day")
    assert ask(usual_order="0 g").status == 422
    water = north.material("Water that is never short", stocked=False)
    north.post(f"materials/{water}/reorder-point", ADVICE).refused(422, "invalid")
    assert north.get(f"materials/{material}/usage", period="month").status == 422
    assert north.get(f"materials/{material}/usage", ahead="0").status == 422
    # Another maker's use is not told.
    theirs = used(north, "Glycerin that one maker used", [900])
    assert mill.get(f"materials/{theirs}/usage").made()["series"] == ["0"] * 26


def test_how_much_to_order_at_a_time(north: Client) -> None:
    """A kilogram a week is 52.18 kg a year. With 28.00 an order and a fifth of 8.00 a kilogram to
    keep it, sqrt(2 x 52.18 x 28 / 1.6) = 42.73 kg: of packs of 5 kg, eight or nine. From 50 kg on a
    kilogram costs 6.00, and ten packs cost less in a year than either."""
    material = used(north, "Oil that is ordered again and again", [1000] * 10)
    path, asked = f"materials/{material}/order-sizes", {"per_order": "28", "keeping_percent": "20"}
    assert "Nobody offers" in north.post(path, asked).refused(409, "conflict")["detail"]
    since = {"valid_from": "2025-01-01", "supplier": north.supplier(), "material": material}
    north.post("offers", {**since, "pack": "5 kg", "price": "40.00"}).made()
    (size,) = north.post(path, asked).made()["sizes"]
    # 417.43 of goods, 28 x 52.18 / 45 = 32.47, and 1.6 x 45 / 2 = 36.00.
    assert (size["packs"], size["quantity"], size["cost"]) == (9, "45000", "485.90")
    assert size["exact"].startswith("42734.")
    assert size["days"] == "315"
    breaks = [{"at_least": "50 kg", "price": "30.00"}]
    north.post("offers", {**since, "pack": "10 kg", "price": "80.00", "breaks": []}).made()
    cheaper = {**since, "supplier": north.supplier(), "pack": "5 kg", "price": "40.00"}
    north.post("offers", {**cheaper, "breaks": breaks}).made()
    sizes = north.post(path, asked).made()["sizes"]
    assert [(one["packs"], one["pack"]) for one in sizes] == [
        (10, "5 kg"),
        (9, "5 kg"),
        (4, "10 kg"),
    ]
    # 313.07 of goods, 28 x 52.18 / 50 = 29.22, and 1.2 x 50 / 2 = 30.00.
    assert sizes[0]["cost"] == "372.29"
    keeps = {"shelf_life_days": 100, **since, "supplier": north.supplier()}
    north.post("offers", {**keeps, "pack": "1 kg", "price": "5.00"}).made()
    short = next(one for one in north.post(path, asked).made()["sizes"] if one["pack"] == "1 kg")
    assert (short["packs"], short["by_shelf_life"]) == (14, True), (
        "so much is used in a hundred days"
    )
    north.post(path, {**asked, "keeping_percent": "0"}).refused(422, "out_of_range")
    water = north.material("Water that nobody orders", stocked=False)
    north.post(f"materials/{water}/order-sizes", asked).refused(422, "invalid")
    unused = north.material("Clay of which nothing was used")
    north.post(f"materials/{unused}/order-sizes", asked).refused(409, "conflict")
