"""Sheets that are sent are read strictly, and none that is given out holds a formula."""

import csv
import io
import tracemalloc
from datetime import date, datetime, time

import pytest

from api.sheet_files import (
    MOST_ROWS,
    Cell,
    HeaderWrong,
    SheetRow,
    SheetTooLarge,
    SheetUnreadable,
    read_sheet,
)
from api.sheet_writing import csv_of, escaped
from ledger.errors import Refusal
from tests.api.files import pdf, png
from tests.api.sheet_files import changed, csv_text, xlsx

SHEET = "xl/worksheets/sheet1.xml"
KNOWN = ["name", "price", "day", "note"]


def read(content: bytes) -> list[SheetRow]:
    return read_sheet(content, known=KNOWN, required=["name", "price"])


def texts(content: bytes) -> list[tuple[int, dict[str, str]]]:
    return [
        (row.number, {name: one.text for name, one in row.cells.items()}) for row in read(content)
    ]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_csv(delimiter: str, mark: bytes) -> None:
    sheet = csv_text(
        ("Name", " price "), ("Müller oil", "5.20"), (), ("b", ""), delimiter=delimiter
    )
    assert texts(mark + sheet) == [
        (2, {"name": "Müller oil", "price": "5.20"}),
        (4, {"name": "b", "price": ""}),
    ]


def test_a_cell_in_quotes_may_hold_the_delimiter_and_lines() -> None:
    (row,) = texts(b'name,price,note\r\n"Oil, cold",1,"two\nlines"\r\n')
    assert row == (2, {"name": "Oil, cold", "price": "1", "note": "two\nlines"})


def test_xlsx_numbers_and_days_are_read_as_written() -> None:
    sheet = xlsx(
        ("name", "price", "day"),
        ("a", 5.2, date(2025, 6, 1)),
        ("b", 25, datetime.combine(date(2025, 6, 1), time())),
        (),
        (123, "4.60", "2025-06-02"),
        ("c", 0.1 + 0.2, None),
    )
    assert texts(sheet) == [
        (2, {"name": "a", "price": "5.2", "day": "2025-06-01"}),
        (3, {"name": "b", "price": "25", "day": "2025-06-01"}),
        (5, {"name": "123", "price": "4.60", "day": "2025-06-02"}),
        (6, {"name": "c", "price": "0.3", "day": ""}),
    ]


def test_what_would_be_reckoned_out_is_told_with_its_cell() -> None:
    sheet = xlsx(("name", "price"), ("a", "=2*65"), (True, 1), ("b", "#N/A"))
    rows = read(sheet)
    assert rows[0].cells["price"].text == "=2*65"
    assert "formula" in rows[0].cells["price"].wrong
    assert rows[1].cells["name"].wrong
    assert "error" in rows[2].cells["price"].wrong
    (row,) = read(b"name,price\n=1+1,2\n")
    assert "formula" in row.cells["name"].wrong
    assert row.cells["price"] == Cell("2")


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"name,price\n", SheetUnreadable),
        (b"name;price,day\na;1,2\n", HeaderWrong),
        (b"name\na\n", HeaderWrong),
        (b"name,price,colour\na,1,red\n", HeaderWrong),
        (b"name,price,price\na,1,1\n", HeaderWrong),
        (b"price,note\n1,a\n", HeaderWrong),
        (b"name,price\na,1,more\n", HeaderWrong),
        (b"name,,price\na,,1\n", HeaderWrong),
        (b'name,price\n"a,1\n', SheetUnreadable),
        ("name,price\nMüller,1\n".encode("latin-1"), SheetUnreadable),
        ("name,price\na,1\n".encode("utf-16"), SheetUnreadable),
        (b"name,price\na\0,1\n", SheetUnreadable),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", SheetUnreadable),
        (b"PK\x03\x04 no more than that", SheetUnreadable),
        (pdf(), Refusal),
        (png(), SheetUnreadable),
        (b"", Refusal),
        (xlsx(("name", "price"), ("a", 1), sheets=2), SheetUnreadable),
        (changed(xlsx(("name", "price"), ("a", 1)), SHEET, b"<no"), SheetUnreadable),
        (xlsx(("name", "price")), SheetUnreadable),
        (xlsx(), HeaderWrong),
        (b"name,price\n" + b"a,1\n" * (MOST_ROWS + 1), SheetTooLarge),
        (xlsx(("name", "price"), *[("a", 1)] * (MOST_ROWS + 1)), SheetTooLarge),
        (b"name,price\na,1\n" + b"\n" * 20_000, SheetTooLarge),
    ],
)
def test_what_is_no_sheet_is_refused(content: bytes, kind: type[Refusal]) -> None:
    with pytest.raises(kind) as refused:
        read(content)
    assert len(refused.value.detail) > 10


def test_as_many_rows_as_are_allowed_are_read() -> None:
    assert len(read(b"name,price\n" + b"a,1\n" * MOST_ROWS)) == MOST_ROWS
    assert len(read(xlsx(("name", "price"), *[("a", 1)] * MOST_ROWS))) == MOST_ROWS


def test_a_sheet_is_not_cut_short_by_what_it_says_of_its_size() -> None:
    sheet = xlsx(("name", "price"), ("a", 1), ("b", 2))
    part = b"""<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">
      <dimension ref="A1:A1"/><sheetData>
      <row r="1"><c r="A1" t="inlineStr"><is><t>name</t></is></c>
                 <c r="B1" t="inlineStr"><is><t>price</t></is></c></row>
      <row r="2"><c r="A2"><v>1</v></c><c r="B2"><v>2</v></c></row>
      </sheetData></worksheet>"""
    assert texts(changed(sheet, SHEET, part)) == [(2, {"name": "1", "price": "2"})]


def test_a_bomb_is_not_unpacked() -> None:
    """200 MB that are 200 kB when packed: refused by the directory, without the memory."""
    bomb = changed(xlsx(("name", "price"), ("a", 1)), SHEET, b" " * 200_000_000)
    assert len(bomb) < 1_000_000
    tracemalloc.start()
    with pytest.raises(SheetTooLarge):
        read(bomb)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 5_000_000


def test_entities_are_refused() -> None:
    """Ten to the ninth of a word, by nine definitions (the billion laughs)."""
    names = [f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10)]
    part = (
        f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "ha">{"".join(names)}]>'
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        '<row r="1"><c r="A1" t="inlineStr"><is><t>&a9;</t></is></c></row></sheetData></worksheet>'
    )
    with pytest.raises(SheetUnreadable):
        read(changed(xlsx(("name", "price")), SHEET, part.encode()))


def test_what_is_given_out_holds_no_formula() -> None:
    rows = [["=1+1", "+1", "-1", "@a"], ["\t=1", "a=1", "", "Müller"]]
    given = csv_of(["a", "b", "c", "d"], rows)
    assert given.startswith(b"\xef\xbb\xbf")
    cells = list(csv.reader(io.StringIO(given.decode("utf-8-sig"), newline="")))
    assert cells[1:] == [["'=1+1", "'+1", "'-1", "'@a"], ["'\t=1", "a=1", "", "Müller"]]


@pytest.mark.parametrize("text", ["+49 oil", "-5 oil", "@home", "plain", "'quoted'"])
def test_what_was_kept_from_being_a_formula_comes_back_as_it_was(text: str) -> None:
    (row,) = read(csv_of(["name", "price"], [[text, "1"]]))
    assert row.cells["name"] == Cell(text)
    assert escaped("") == ""
