"""What is measured at the bench is kept with its batch, and what is outside its window is said."""

from typing import Any

from tests.api.client import Answer, Client

WINDOWS = [
    {"measure": "ph", "target": "5.5", "low": "5.0", "high": "6.0"},
    {"measure": "viscosity", "low": "3 Pa.s", "high": "6000 mPa.s"},
    {"measure": "appearance", "target": "white, even"},
]


class Lotion:
    """A lotion whose fragrance goes in at 40 degC, with windows for pH, viscosity and looks."""

    def __init__(self, maker: Client, windows: Any = WINDOWS) -> None:
        self.maker = maker
        self.oil, self.scent = maker.material("Squalane"), maker.material("Parfum")
        self.lots = [maker.receive(one, "2 kg", "40.00") for one in (self.oil, self.scent)]
        self.recipe = {
            "name": "Lotion",
            "phases": [
                {"name": "Hot", "lines": [{"material": self.oil, "percent": "99"}]},
                {
                    "name": "Cool",
                    "lines": [
                        {"material": self.scent, "percent": "1", "max_temperature": "104 degF"}
                    ],
                },
            ],
            "windows": windows,
        }
        self.formula = maker.post("formulas", self.recipe).made()
        self.batch = self.plan()
        self.path = f"batches/{self.batch['id']}"

    def plan(self) -> Any:
        size = {"formula": self.formula["id"], "batch": "1 kg", "planned_for": "2025-05-06"}
        return self.maker.post("batches", size).made()

    def weigh(self, place: int, grams: str, hour: int = 9, **facts: Any) -> Answer:
        body = {
            "line": self.batch["lines"][place]["id"],
            "lot": self.lots[place],
            "quantity": f"{grams} g",
            "happened_at": f"2025-05-06T{hour:02}:30:00Z",
            **facts,
        }
        return self.maker.post(f"{self.path}/weighings", body)

    def measure(self, measure: str, value: str, hour: int = 9, **facts: Any) -> Answer:
        at = f"2025-05-06T{hour:02}:00:00Z"
        body = {"measure": measure, "value": value, "happened_at": at, **facts}
        return self.maker.post(f"{self.path}/measurements", body)

    def finish(self) -> Any:
        body = {"output": "990 g", "happened_at": "2025-05-06T15:00:00Z"}
        return self.maker.post(f"{self.path}/finish", body).made()


def test_what_heat_harms_goes_in_once_the_batch_has_cooled(maker: Client) -> None:
    lotion = Lotion(maker)
    assert lotion.batch["lines"][1]["max_celsius"] == "40.00"
    assert lotion.formula["phases"][1]["lines"][0]["max_celsius"] == "40.00"
    lotion.weigh(0, "990").made()
    unknown = lotion.weigh(1, "1").made()["heat"]
    assert unknown == {
        "celsius": None,
        "max_celsius": "40",
        "note": "no temperature recorded",
    }
    lotion.measure("temperature", "72 degC", 10, phase="Hot").made()
    refused = lotion.weigh(1, "8", 10).refused(409, "too_hot", "/line")
    assert "40 degC" in refused["detail"]
    assert "72 degC" in refused["detail"]
    assert (refused["celsius"], refused["max_celsius"]) == ("72", "40")
    # A slip of the pen is put right by another measurement, and the batch was not that hot.
    slip = lotion.measure("temperature", "400 degC", 11).made()
    fixed = lotion.measure("temperature", "40 degC", 11, corrects=slip["id"]).made()
    assert fixed["corrects"] == slip["id"]
    cool = lotion.weigh(1, "1", 11).made()
    assert cool["heat"] == {"celsius": "40", "max_celsius": "40", "note": ""}
    assert cool["overrode"] == []
    # At ten it was still hot: what is told later counts by when it took place.
    lotion.weigh(1, "1", 10).refused(409, "too_hot")
    why = {"reason": "the customer's own trial was at 75"}
    over = lotion.weigh(1, "1", 10, deviation=why).made()
    assert over["overrode"] == ["maximum_temperature"]
    assert over["heat"]["celsius"] == "72"
    assert lotion.weigh(0, "1", 10).made()["heat"] is None, "only what heat harms is asked for"


def test_what_was_measured_is_judged_and_kept(maker: Client) -> None:
    lotion = Lotion(maker)
    assert [window["measure"] for window in lotion.formula["windows"]] == [
        "ph",
        "viscosity",
        "appearance",
    ]
    assert lotion.formula["windows"][1] == {
        "measure": "viscosity",
        "unit": "mPa.s",
        "target": None,
        "low": "3000",
        "high": "6000",
    }
    high = lotion.measure("ph", "6.8", 10, at="25 degC", phase="Cool", note="10 % in water").made()
    assert (high["value"], high["at_celsius"], high["judgement"]) == ("6.8", "25.00", "above")
    assert high["told"] == "pH 6.8 is above the high limit of 6."
    good = lotion.measure("ph", "pH 5.4", 11).made()
    assert (good["judgement"], good["told"], good["entered"]) == ("inside", "", "pH 5.4")
    thin = lotion.measure("viscosity", "2.5 Pa.s", 11).made()
    assert (thin["value"], thin["unit"], thin["judgement"]) == ("2500", "mPa.s", "below")
    assert lotion.measure("flow_time", "38 s", 11).made()["judgement"] == "not_judged"
    batch = maker.get(lotion.path).made()
    assert [row["value"] for row in batch["measurements"]] == ["6.8", "5.4", "2500", "38"]
    assert batch["standing"]["not_measured"] == ["appearance"]
    assert [row["measure"] for row in batch["standing"]["outside_limits"]] == ["viscosity"]
    rows = maker.listed(f"{lotion.path}/measurements", measure="ph")
    assert [row["id"] for row in rows] == [good["id"], high["id"]]


def test_a_finish_names_what_is_outside_and_decides_nothing(maker: Client) -> None:
    lotion = Lotion(maker)
    lotion.weigh(0, "990").made()
    lotion.measure("ph", "6.8", 10).made()
    lotion.measure("appearance", "grainy", 10, agrees=False).made()
    done = lotion.finish()
    assert done["lot"]["status"] == "quarantine"
    told = [row["told"] for row in done["outside_limits"]]
    assert told == [
        "pH 6.8 is above the high limit of 6.",
        "The appearance does not agree, which should be: white, even.",
    ]
    assert done["not_measured"] == ["viscosity"]
    # The viscosity of a lotion is measured a day later.
    lotion.measure("viscosity", "4100 cP", 16).made()
    lotion.measure("ph", "5.9", 16).made()
    finished = maker.get(lotion.path).made()["finished"]
    assert finished["not_measured"] == []
    assert [row["measure"] for row in finished["outside_limits"]] == ["appearance"]


def test_a_batch_keeps_the_windows_of_its_version(maker: Client) -> None:
    lotion = Lotion(maker)
    wider = [{"measure": "ph", "low": "4", "high": "9"}]
    path = f"formulas/{lotion.formula['id']}"
    etag = maker.get(path).headers["ETag"]
    body = {**lotion.recipe, "windows": wider}
    newer = maker.post(f"{path}/versions", body, If_Match=etag).made()
    assert [window["low"] for window in newer["windows"]] == ["4"]
    assert lotion.measure("ph", "6.8").made()["judgement"] == "above"
    assert lotion.plan()["windows"] == newer["windows"]
    assert maker.get(f"{path}?version=1").made()["windows"] == lotion.formula["windows"]


def test_what_cannot_be_measured_is_refused(maker: Client) -> None:
    lotion = Lotion(maker)
    lotion.measure("ph", "5,4").refused(422, "measurement_unreadable", "/value")
    lotion.measure("ph", "15").refused(422, "measurement_out_of_range", "/value")
    lotion.measure("temperature", "72").refused(422, "temperature_unreadable", "/value")
    lotion.measure("ph", "5.4", at="warm").refused(422, "temperature_unreadable", "/at")
    lotion.measure("ph", "5.4", agrees=True).refused(422, "invalid", "/agrees")
    refused = lotion.measure("ph", "5.4", phase="Cold").refused(422, "invalid", "/phase")
    assert "'Hot', 'Cool'" in refused["detail"]
    future: Any = {"happened_at": "2190-01-01T00:00:00Z"}
    lotion.measure("ph", "5.4", **future).refused(422, "invalid", "/happened_at")
    first = lotion.measure("ph", "5.4").made()
    lotion.measure("ph", "5.5", corrects=first["id"]).made()
    lotion.measure("ph", "5.6", corrects=first["id"]).refused(409, "already_corrected", "/corrects")
    other = Lotion(maker)
    other.measure("ph", "5.6", corrects=first["id"]).refused(422, "not_found", "/corrects")
    cancelled = {"reason": "no time", "happened_at": "2025-05-06T12:00:00Z"}
    maker.post(f"{other.path}/cancellation", cancelled).made()
    other.measure("ph", "5.4").refused(409, "conflict")


def test_windows_that_cannot_be_are_refused_in_their_place(maker: Client) -> None:
    recipe = Lotion(maker).recipe
    for windows, code, pointer in (
        ([{"measure": "ph", "low": "6", "high": "5"}], "invalid", "/windows/0/low"),
        ([{"measure": "ph"}], "invalid", "/windows/0/target"),
        ([*WINDOWS, WINDOWS[0]], "invalid", "/windows/3/measure"),
        ([{"measure": "viscosity", "low": "3"}], "measurement_unreadable", "/windows/0/low"),
    ):
        maker.post("formulas", {**recipe, "windows": windows}).refused(422, code, pointer)
