"""Price lists: checked first, kept whole or not at all, and the same list twice changes nothing."""

import csv
import io
from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import member
from tests.api.sheet_files import csv_text, xlsx

HEADER = ["supplier", "material", "article_code", "pack", "price", "valid_from"]
HEADER += ["break_1_from", "break_1_price"]


def sent(client: Client, path: str, sheet: bytes, **texts: str) -> Any:
    return client.upload(path, sheet, name="list.csv", said="text/csv", **texts)


def named(maker: Client, word: str) -> tuple[str, str]:
    """A supplier and a material of the catalogue, by their names."""
    supplier, material = f"Bulk {word}", f"Glycerin {word}"
    maker.post("suppliers", {"name": supplier}).made()
    maker.material(material, density="1.26 g/mL", inci_name=f"Inci {word}")
    return supplier, material


def test_a_list_is_checked_kept_and_known(north: Client) -> None:
    supplier, material = named(north, "first")
    sheet = csv_text(
        HEADER,
        (supplier.upper(), material, "G-25", "25 kg", "130.00", "2025-06-01", "100 kg", "120.00"),
        (supplier, "inci FIRST", "G-4", "4 gal", "186.00", "2025-06-01", "", ""),
    )
    checked = sent(north, "price-lists/check", sheet).made()
    assert (checked["rows"], checked["added"], checked["unchanged"]) == (2, 2, 0)
    assert checked["wrong"] == []
    assert [change["offer"] for change in checked["changes"]] == [None, None]
    assert north.listed("offers", article_code="G-25") == []
    kept = sent(north, "price-lists", sheet).made()
    assert (kept["added"], kept["repriced"], kept["unchanged"]) == (2, 0, 0)
    first, second = (north.get(f"offers/{change['offer']}").made() for change in kept["changes"])
    assert first["current"]["breaks"][0]["price"] == "120"
    assert (second["pack"]["grams"], second["density_of"]) == ("19078.475391", "material")
    again = sent(north, "price-lists", sheet).made()
    assert (again["added"], again["repriced"], again["unchanged"]) == (0, 0, 2)
    assert again["changes"] == []
    assert len(north.listed(f"offers/{first['id']}/prices")) == 1


def test_a_new_price_says_what_it_was(north: Client) -> None:
    supplier, material = named(north, "second")
    row = (supplier, material, "", "25 kg", "130.00", "2025-06-01", "", "")
    sent(north, "price-lists", csv_text(HEADER, row)).made()
    later = (*row[:4], "149.50", "2025-09-01", "", "")
    (change,) = sent(north, "price-lists", csv_text(HEADER, row, later)).made()["changes"]
    assert (change["row"], change["change"], change["own_price"]) == (3, "repriced", "149.5")
    assert (change["own_price_before"], change["rise_percent"]) == ("130", "15.00")
    history = north.listed(f"offers/{change['offer']}/prices")
    assert [price["price"] for price in history] == ["149.5", "130"]


def test_a_pack_is_known_by_what_was_typed_though_its_density_was_measured_anew(
    north: Client,
) -> None:
    supplier, material = named(north, "third")
    sheet = csv_text(HEADER, (supplier, material, "", "1 gal", "50", "2025-06-01", "", ""))
    sent(north, "price-lists", sheet).made()
    (found,) = north.listed("materials", name=material)
    etag = north.get(f"materials/{found['id']}").headers["ETag"]
    density = {"density": {"value": "1.25 g/mL"}}
    north.change("PATCH", f"materials/{found['id']}", density, etag).made()
    assert sent(north, "price-lists", sheet).made()["unchanged"] == 1


def test_a_workbook_says_the_same_as_a_csv(north: Client) -> None:
    supplier, material = named(north, "fourth")
    cells = (supplier, material, "7", "25 kg", "130.5", "2025-06-01", "100 kg", "120")
    assert sent(north, "price-lists", csv_text(HEADER, cells, delimiter=";")).made()["added"] == 1
    book = xlsx(HEADER, (supplier, material, 7, "25 kg", 130.5, "2025-06-01", "100 kg", 120))
    assert sent(north, "price-lists", book).made()["unchanged"] == 1


def test_every_wrong_cell_is_told_and_nothing_is_kept(north: Client) -> None:
    supplier, material = named(north, "fifth")
    good = (supplier, material, "X-1", "25 kg", "130.00", "2025-06-01", "", "")
    sheet = csv_text(
        HEADER,
        good,
        ("Nobody", "Nothing", "", "25 kg", "1", "2025-06-01", "", ""),
        (supplier, material, "X-2", "4 oz", "12,50", "1/6/2025", "", ""),
        (supplier, material, "X-3", "60 each", "5", "2025-06-01", "", ""),
        (supplier, material, "X-4", "25 kg", "5", "2025-06-01", "10 kg", "4"),
        (supplier, material, "X-1", "25000 g", "5", "2025-06-01", "", ""),
        delimiter=";",
    )
    checked = sent(north, "price-lists/check", sheet).made()
    told = [(one["row"], one["column"], one["code"]) for one in checked["wrong"]]
    assert told == [
        (3, "supplier", "not_found"),
        (3, "material", "not_found"),
        (4, "pack", "unit_ambiguous"),
        (4, "price", "unreadable"),
        (4, "valid_from", "unreadable"),
        (5, "pack", "unit_wrong"),
        (6, "break_1_from", "invalid"),
        (7, "valid_from", "invalid"),
    ]
    assert checked["wrong"][3]["value"] == "12,50"
    refused = sent(north, "price-lists", sheet)
    error = refused.refused(422, "not_found", "/file")
    assert (error["row"], error["column"], error["value"]) == (3, "supplier", "Nobody")
    errors = refused.json["errors"]
    assert [(one["row"], one["column"], one["code"]) for one in errors] == told
    assert north.listed("offers", article_code="X-1") == []


def test_a_name_that_two_have_is_refused(north: Client) -> None:
    for _ in range(2):
        supplier, material = named(north, "twice")
    sheet = csv_text(HEADER, (supplier, material, "", "1 kg", "5", "2025-06-01", "", ""))
    wrong = sent(north, "price-lists/check", sheet).made()["wrong"]
    assert [one["column"] for one in wrong] == ["supplier", "material"]
    by_id = [north.listed(kind, name="twice")[0]["id"] for kind in ("suppliers", "materials")]
    sheet = csv_text(HEADER, (*by_id, "", "1 kg", "5", "2025-06-01", "", ""))
    assert sent(north, "price-lists", sheet).made()["added"] == 1


@pytest.mark.parametrize(
    ("sheet", "code"),
    [
        (b"supplier,material\nA,B\n", "header_wrong"),
        (b"%PDF-1.4 no sheet", "sheet_unreadable"),
        (b"PK\x03\x04 broken", "sheet_unreadable"),
        ("supplier;Preis\nä;1".encode("latin-1"), "sheet_unreadable"),
    ],
)
def test_what_is_no_list_is_refused(north: Client, sheet: bytes, code: str) -> None:
    for path in ("price-lists/check", "price-lists"):
        sent(north, path, sheet).refused(422, code)


def test_what_is_given_out_can_be_sent_back(north: Client, mill: Client) -> None:
    supplier, material = named(north, "sixth")
    (seller,) = north.listed("suppliers", name=supplier)
    columns = (*HEADER, "currency", "rate", "density", "least_packs", "note")
    rows = [
        (supplier, material, "-A", "4 gal", "99.5", "2025-06-01", "20 gal", "90", "EUR", "1.08"),
        (supplier, material, "B", "25 kg", "130", "2025-06-01", "", "", "", ""),
    ]
    sheet = csv_text(
        columns, (*rows[0], "1.27 g/mL", "2", "@ the gate"), (*rows[1], "", "", "-5 % soon")
    )
    assert sent(north, "price-lists", sheet).made()["added"] == 2
    answer = north.get("price-lists/current", supplier=seller["id"])
    assert (answer.status, answer.kind) == (200, "text/csv")
    lines = list(csv.DictReader(io.StringIO(answer.raw.decode("utf-8-sig"), newline="")))
    assert {line["article_code"] for line in lines} == {"'-A", "B"}
    notes = {line["note"] for line in lines}
    assert notes == {"'@ the gate", "'-5 % soon"}
    back = sent(north, "price-lists", answer.raw).made()
    assert (back["rows"], back["unchanged"], back["changes"]) == (2, 2, [])
    # Another maker sees none of it, whatever it asks for.
    others = mill.get("price-lists/current", supplier=seller["id"])
    assert len(others.raw.decode("utf-8-sig").splitlines()) == 1
    assert north.get("price-lists/current", open="true").raw.count(b"sixth") == 0


def test_the_template_names_the_columns(north: Client) -> None:
    answer = north.get("price-lists/template")
    header = answer.raw.decode("utf-8-sig").strip().split(",")
    assert header[:4] == ["supplier", "material", "article_code", "pack"]
    assert set(HEADER) <= set(header)
    assert "attachment" in answer.headers["Content-Disposition"]


def test_the_coordinator_imports_for_all_and_the_bench_not_at_all(
    coop: Coop, north: Client, mill: Client
) -> None:
    supplier, material = named(north, "seventh")
    sheet = csv_text(HEADER, (supplier, material, "S-7", "1 kg", "5", "2025-06-01", "", ""))
    assert sent(member(coop, None, "coordinator"), "price-lists", sheet).made()["added"] == 1
    (offer,) = mill.listed("offers", article_code="S-7")
    assert offer["open"]
    # What a maker imports for itself stands beside it; what it opens is the same offer.
    assert sent(mill, "price-lists/check", sheet).made()["added"] == 1
    assert sent(mill, "price-lists/check", sheet, open="true").made()["unchanged"] == 1
    bench = member(coop, "North Bench", "bench")
    for path in ("price-lists/check", "price-lists"):
        sent(bench, path, b"whatever it is").refused(403, "forbidden")
