"""Sheets and labels, as a browser or a program asks for them."""

from dataclasses import dataclass
from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import member
from tests.api.test_declarations import shampoo
from tests.sheets.reading import Pages

EVIL = "Oil <script>alert(1)</script> & 薔薇"


@dataclass(frozen=True)
class Bench:
    """A batch that is planned, and a lot that goes into it."""

    batch: dict[str, Any]
    lot: str
    code: str


def recipe(water: str, lye: str, oil: str, acid: str) -> dict[str, Any]:
    """A cream with everything that a sheet may have to say."""
    effect = {"typical_percent": "0.2", "max_percent": "0.5"}
    return {
        "name": "Ромашка crème",
        "windows": [
            {"measure": "ph", "target": "5.5", "low": "5.0", "high": "6.0"},
            {"measure": "flow_time", "high": "40 s"},
            {"measure": "appearance", "target": "ivory"},
        ],
        "phases": [
            {
                "name": "A",
                "lines": [
                    {"material": water, "balance": True},
                    {"material": lye, "percent": "3"},
                ],
            },
            {
                "name": "B",
                "lines": [
                    {"material": oil, "percent": "40", "max_temperature": "45 degC"},
                    {"material": acid, "to_effect": effect},
                ],
            },
        ],
    }


@pytest.fixture(scope="module")
def bench(north: Client) -> Bench:
    water = north.material("Tap water", stocked=False, density="1 g/mL", inci_name="Aqua")
    oil = north.material(EVIL, inci_name="Prunus Amygdalus Dulcis Oil")
    lye = north.material("Lye", inci_name="Sodium Hydroxide")
    acid = north.material("Citric acid solution", inci_name="Citric Acid")
    jar = north.material("Jar", measured_by="count")
    lot = north.receive(oil, "5 kg", "60.00", expires_on="2027-03-31")
    for material, quantity in ((lye, "1 kg"), (acid, "1 kg"), (jar, "100 each")):
        north.receive(material, quantity, "10.00")
    formula = recipe(water, lye, oil, acid)
    made = north.post("formulas", formula).made()
    product = {
        "name": "Crème 50 g",
        "formula": made["id"],
        "fill": {"nominal": "50 g"},
        "packaging": [{"material": jar, "quantity": "1 each"}],
    }
    sold = north.post("products", product).made()["id"]
    batch = north.post(
        "batches", {"product": sold, "units": 40, "planned_for": "2025-05-08"}
    ).made()
    code = north.get(f"lots/{lot}").made()["code"]
    line = next(one for one in batch["lines"] if one["material"] == oil)
    weighing = {
        "line": line["id"],
        "lot": lot,
        "quantity": "799.5 g",
        "happened_at": "2025-05-08T09:00:00Z",
    }
    north.post(f"batches/{batch['id']}/weighings", weighing).made()
    seen = {"measure": "ph", "value": "5.4", "happened_at": "2025-05-08T10:00:00Z"}
    north.post(f"batches/{batch['id']}/measurements", seen).made()
    return Bench(batch, lot, code)


def test_a_batch_sheet_to_follow(north: Client, bench: Bench) -> None:
    path = f"batches/{bench.batch['id']}/sheet"
    page = north.get(path)
    assert (page.status, page.kind) == (200, "text/html")
    assert page.headers["Cache-Control"] == "no-store"
    assert page.headers["X-Content-Type-Options"] == "nosniff"
    policy = page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "'self'" not in policy
    text = page.raw.decode()
    assert "<script" not in text
    assert "Oil &lt;script&gt;alert(1)&lt;/script&gt; &amp; 薔薇" in text
    printed = north.get(path, format="pdf")
    assert (printed.status, printed.kind) == (200, "application/pdf")
    code = bench.batch["code"]
    assert printed.headers["Content-Disposition"] == f'inline; filename="batch-{code}.pdf"'
    pages = Pages(printed.raw)
    for said in (
        f"Batch {code}",
        "Ромашка crème",
        "Phase A",
        bench.code,
        "800.00",
        "792.00 to 808.00",
        "799.50",
        "Lye: Goggles and gloves; lye into water, never the reverse; check its purity.",
        "Look and smell before it goes in",
        "To effect: Citric acid solution",
        "at most 0.5 %",
        "Second person",
        "pH 8 May 2025, 10:00 5.4 5.5 (5 to 6)",
        "Flow time up to 40 s",
        "ivory",
        "at most 45 °C",
        "Jar",
    ):
        assert said in pages.text, said
    assert all(pages.ink(number) > 3000 for number in range(len(pages)))
    narrow = Pages(north.get(path, format="pdf", tolerance_percent="0.5", paper="letter").raw)
    assert "796.00 to 804.00" in narrow.text


def test_labels_of_a_lot(north: Client, bench: Bench) -> None:
    pages = Pages(north.get(f"lots/{bench.lot}/label", format="pdf", copies=3).raw)
    assert pages.codes() == [f"1727033110{bench.code}"] * 3
    for said in (bench.code, "31 Mar 2027", "released", "Prunus Amygdalus Dulcis Oil"):
        assert said in pages.text, said
    page = north.get(f"lots/{bench.lot}/label").raw.decode()
    assert page.count("<img ") == 1
    assert f"(17)270331(10){bench.code}" in page


def test_a_count_sheet(north: Client, bench: Bench) -> None:
    seen = Pages(north.get("stock/count-sheet", format="pdf").raw).text
    assert bench.code in seen
    assert "4,200.5 g" in seen
    blind = Pages(north.get("stock/count-sheet", format="pdf", blind="true").raw).text
    assert bench.code in blind
    assert "4,200.5" not in blind
    material = north.get(f"lots/{bench.lot}").made()["material"]
    one = north.get("stock/count-sheet", material=material).raw.decode()
    assert bench.code in one
    assert "Jar" not in one


@pytest.mark.parametrize("blind", [False, True])
def test_the_sheet_of_a_count_is_blind_if_the_count_is(
    north: Client, coop: Coop, bench: Bench, blind: bool
) -> None:
    body = {"lots": [bench.lot], "place": "top shelf", "blind": blind}
    count = north.post("counts", body).made()
    path = f"counts/{count['id']}/sheet"
    seen = Pages(north.get(path, format="pdf").raw).text
    assert bench.code in seen
    assert "top shelf" in seen
    assert ("4,200.5" in seen) is not blind
    assert "Jar" not in seen, "it is not on this count"
    assert member(coop, "North Bench", "read-only").get(path).status == 200
    coop["Mill Bench"].get(path).refused(404, "not_found")
    north.post(f"counts/{count['id']}/cancellation", {"reason": "printed alone"}).made()


@pytest.mark.parametrize(
    ("query", "code", "pointer"),
    [
        ({"format": "docx"}, "invalid_choice", "/format"),
        ({"paper": "a3"}, "invalid_choice", "/paper"),
        ({"tolerance_percent": "11"}, "out_of_range", "/tolerance_percent"),
        ({"copies": "2"}, "unknown_field", "/copies"),
    ],
)
def test_refusals_are_problems(
    north: Client, bench: Bench, query: dict[str, str], code: str, pointer: str
) -> None:
    north.get(f"batches/{bench.batch['id']}/sheet", **query).refused(422, code, pointer)


def test_who_may_print(north: Client, coop: Coop, bench: Bench) -> None:
    """Whoever may read may print, since no cost stands on a sheet; nobody else finds it."""
    reader = member(coop, "North Bench", "read-only")
    paths = [
        f"batches/{bench.batch['id']}/sheet",
        f"lots/{bench.lot}/label",
        "stock/count-sheet",
    ]
    for path in paths:
        assert reader.get(path, format="pdf").status == 200
        north.another(token="nobody").get(path).refused(401, "not_signed_in")
    for path in paths[:2]:
        coop["Mill Bench"].get(path).refused(404, "not_found")
    theirs = coop["Mill Bench"].get("stock/count-sheet").raw.decode()
    assert bench.code not in theirs
    made = next(one for one in north.listed("materials") if one["own"])["id"]
    missing = coop["Mill Bench"].get("stock/count-sheet", material=NOWHERE)
    missing.refused(422, "not_found", "/material")
    assert coop["Mill Bench"].get("stock/count-sheet", material=made).raw == missing.raw


def test_other_operations_send_json_alone(north: Client) -> None:
    north.get("stock", format="pdf").refused(422, "unknown_field", "/format")
    product = shampoo(north, "Dune", use="leave_on")
    plain = north.raw("GET", f"products/{product}/declaration", None, {"Accept": "text/html"})
    plain.refused(406, "not_acceptable")


NOWHERE = "0198a7b0-0000-7000-8000-00000000ffff"


STATED = {
    "gtin": "09521234543213",
    "months_after_opening": 12,
    "function": "Shampoo",
    "warnings": "Avoid contact with eyes <b>.",
    "made_by": "North Bench, 1 Quay Road",
    "report_to": "north-bench.example/report",
    "safety_file": "folder 7, shelf by the desk",
    "notified_as": "N-1234",
    "professional_only": True,
}


def test_a_product_label(north: Client) -> None:
    product = shampoo(north, "Fern", use="rinse_off", labelling=STATED)
    assert north.get(f"products/{product}").made()["labelling"] == STATED
    batch = north.post("batches", {"product": product, "units": 4, "planned_for": "2025-05-08"})
    made = batch.made()
    for line in made["lines"]:
        lot = None
        if line["picks"] or line["short"] not in ("0", "0.000000"):
            lot = north.receive(line["material"], "1 kg", "9.00")
        weighing = {
            "line": line["id"],
            "quantity": f"{line['grams']} g",
            "happened_at": "2025-05-08T09:00:00Z",
            **({"lot": lot} if lot else {}),
        }
        north.post(f"batches/{made['id']}/weighings", weighing).made()
    body = {"output": "1020 g", "units": 4, "happened_at": "2025-05-08T12:00:00Z"}
    lot = north.post(f"batches/{made['id']}/finish", body).made()["lot"]
    path = f"products/{product}/label"
    pages = Pages(north.get(path, format="pdf", lot=lot["id"]).raw)
    for said in (
        "Aqua, Phenoxyethanol, Parfum, Ethylhexylglycerin, Linalool",
        "8.45 fl oz, 250 mL",
        "Avoid contact with eyes <b>. To be used only by licensed professionals.",
        "North Bench, 1 Quay Road",
        "north-bench.example/report",
        lot["code"],
        "Linalool 0.015 yes",
        "say in the formula how many days",
    ):
        assert said in pages.text, said
    codes = [code for number in range(len(pages)) for code in pages.codes(number)]
    assert codes == [f"https://id.gs1.org/01/09521234543213/10/{lot['code']}"]
    own = Pages(north.get(f"lots/{lot['id']}/label", format="pdf").raw)
    assert own.codes() == codes
    page = north.get(path, market="us").raw.decode()
    assert "Water, Phenoxyethanol, Fragrance" in page
    assert "eyes &lt;b&gt;." in page
    north.get(path, lot=NOWHERE).refused(422, "not_found", "/lot")
    wrong = {**STATED, "gtin": "09521234543214"}
    body = north.get(f"products/{product}").made()
    sent = {name: body[name] for name in ("name", "formula")}
    sent |= {"fill": {"nominal": "250 mL"}, "packaging": [], "labelling": wrong}
    north.post("products", sent).refused(422, "gtin_wrong", "/labelling/gtin")
