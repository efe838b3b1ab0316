"""When a lot was opened: said by its maker or shown by its first draw, told with the lot."""

from tests.api.client import Client, open_coop
from tests.api.people import maker_id
from tests.api.test_quality import planned
from tests.running import Running
from tests.sheets.reading import Pages

DAY = {"opened_on": "2025-05-10"}


def test_a_lot_is_used_within_the_days_of_its_material(north: Client) -> None:
    oil = north.material("Rosehip oil", use_within_days=180)
    assert north.get(f"materials/{oil}").made()["use_within_days"] == 180
    lot = north.receive(oil, "1 kg", "20.00", expires_on="2027-05-01")
    shown = north.get(f"lots/{lot}").made()
    assert (shown["opened_on"], shown["use_by"]) == (None, None)
    first = north.post(f"lots/{lot}/openings", DAY).made()
    assert (first["use_within_days"], first["use_by"], first["entry"]) == (180, "2025-11-06", None)
    north.post(f"lots/{lot}/openings", DAY).refused(422, "invalid", "/reason")
    why = {"reason": "that was the day before"}
    north.post(f"lots/{lot}/openings", {"opened_on": "2025-05-11", **why}).made()
    shown = north.get(f"lots/{lot}").made()
    assert (shown["opened_on"], shown["use_by"]) == ("2025-05-11", "2025-11-07")
    assert [row["id"] for row in north.listed("lots", expires_before="2025-11-08")] == [lot]
    assert north.listed("lots", expires_before="2025-11-07") == []
    kept = north.listed(f"lots/{lot}/openings")
    assert kept[-1] == first
    assert [(one["opened_on"], one["reason"]) for one in kept] == [
        ("2025-05-11", "that was the day before"),
        ("2025-05-10", ""),
    ]
    north.post(f"lots/{lot}/openings", {"opened_on": None, "reason": "another drum"}).made()
    assert north.get(f"lots/{lot}").made()["use_by"] is None


def test_only_a_label_by_itself_has_the_day_of_opening(north: Client) -> None:
    """Of several containers one is open: on the labels of all, the day is written by hand."""
    oil = north.material("Hemp oil", use_within_days=90)
    lot = north.receive(oil, "10 kg", "80.00")
    north.post(f"lots/{lot}/openings", DAY).made()
    path = f"lots/{lot}/label"
    alone, two = (Pages(north.get(path, format="pdf", copies=n).raw).text for n in (1, 2))
    assert "Opened on: 10 May 2025" in alone
    assert "Once open, use by: 8 Aug 2025" in alone
    assert two.count("Opened on: ____") == 2
    assert two.count("Once open, use within: 90 days") == 2
    assert "10 May 2025" not in two


def test_days_that_cannot_be_are_refused(north: Client) -> None:
    lot = north.receive(north.material("Rosehip oil", use_within_days=180), "1 kg", "20.00")
    for day in ("2025-04-30", "2199-01-01", None):
        wrong = {"opened_on": day, "reason": "so it was"}
        north.post(f"lots/{lot}/openings", wrong).refused(422, "invalid", "/opened_on")
    for days, code in ((0, "min_value"), (3651, "max_value")):
        body = {"name": "Plum oil", "measured_by": "mass", "use_within_days": days}
        north.post("materials", body).refused(422, code, "/use_within_days")
    for facts in ({"measured_by": "count"}, {"measured_by": "mass", "stocked": False}):
        body = {"name": "Jar", "use_within_days": 30, **facts}
        north.post("materials", body).refused(422, "invalid", "/use_within_days")


def test_the_weighing_that_opens_a_lot_says_so_and_too_late_it_is_refused(north: Client) -> None:
    oil = north.material("Rosehip oil", use_within_days=30)
    lot = north.receive(oil, "1 kg", "20.00")
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    formula = north.post("formulas", {"name": "Balm", "phases": phases}).made()
    batch = planned(north, formula["id"], lot, "100")
    assert north.get(f"lots/{lot}").made()["opened_on"] == "2025-05-06"
    (opening,) = north.listed(f"lots/{lot}/openings")
    (weighing,) = north.get(f"batches/{batch['id']}").made()["weighings"]
    assert opening["entry"] == weighing["entry"]
    body = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "1 g"}
    late = {**body, "happened_at": "2025-06-06T09:00:00Z"}
    path = f"batches/{batch['id']}/weighings"
    told = north.post(path, late).refused(409, "lot_open_too_long", "/lot")
    assert "was opened on 2025-05-06 and lasts 30 days then, until 2025-06-05" in told["detail"]
    done = north.post(path, {**late, "deviation": {"reason": "smells as new"}}).made()
    assert (done["overrode"], done["opened_until"]) == (["open_too_long"], None)
    (listed,) = north.listed("deviations", kind="open_too_long")
    assert listed["entry"] == done["entry"]


def test_whoever_is_offered_some_or_may_claim_it_is_told_that_it_is_open(server: Running) -> None:
    pair = open_coop(server, "Giving Bench", "Taking Bench")
    giving, taking = pair["Giving Bench"], pair["Taking Bench"]
    lot = giving.receive(giving.material("Rosehip oil", use_within_days=180), "3 kg", "60.00")
    on = {"lot": lot, "happened_at": "2025-05-20T09:00:00Z", "quantity": "1 kg"}
    offer = giving.post("transfers", {"maker": str(maker_id(pair, "Taking Bench")), **on}).made()
    share = giving.post("shares", {**on, "accepts_itself": True}).made()
    paths = [f"transfers/{offer['id']}", f"shares/{share['id']}"]

    def seen() -> set[tuple[str | None, str | None]]:
        lots = [taking.get(path).made()["lot"] for path in paths]
        return {(one["opened_on"], one["use_by"]) for one in lots}

    assert seen() == {(None, None)}
    giving.post(f"lots/{lot}/openings", DAY).made()
    assert seen() == {("2025-05-10", "2025-11-06")}
    giving.post(f"transfers/{offer['id']}/withdrawal", {"reason": "kept after all"}).made()
    giving.post(f"shares/{share['id']}/closure", {"reason": "kept after all"}).made()
    assert seen() == {(None, None)}


def test_who_changed_the_material_does_not_stand_in_the_books_of_others(server: Running) -> None:
    pair = open_coop(server, "Knowing Bench", "Pouring Bench")
    knowing, pouring = pair["Knowing Bench"], pair["Pouring Bench"]
    oil = knowing.material("Rosehip oil")
    lot = pouring.receive(oil, "1 kg", "20.00")
    taken = {"purpose": "sample", "reason": "smelt", "happened_at": "2025-05-20T09:00:00Z"}
    pouring.post("issues", {**taken, "lines": [{"lot": lot, "quantity": "10 g"}]}).made()
    etag = knowing.get(f"materials/{oil}").headers["ETag"]
    knowing.change("PATCH", f"materials/{oil}", {"use_within_days": 180}, etag).made()
    shown = pouring.get(f"lots/{lot}").made()
    assert (shown["opened_on"], shown["use_by"]) == ("2025-05-20", "2025-11-16")
    (row,) = pouring.listed(f"lots/{lot}/openings")
    assert (row["person"], row["entry"], row["use_within_days"]) == (None, None, 180)
